"""Messages in English words, with note names as they are typed."""

from annotate.language import words

said = words(signs=False).say
