"""MuseScore's own files: meaning from what the program exports, marks spliced in as staff texts, and a plug-in."""
