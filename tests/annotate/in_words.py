"""Messages in English words, with note names as they are typed."""

from annotate.language import words

in_words = words(signs=False).say
