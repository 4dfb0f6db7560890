% Each grob's name and its box within its system, as attributes of its group in the SVG; put before a score.
#(define (vw-box grob)
  (let* ((system (ly:grob-system grob))
         (x (ly:grob-extent grob system X))
         (y (ly:grob-extent grob system Y)))
   `((class . ,(symbol->string (grob::name grob)))
     (data-system . ,(number->string (object-address system)))
     (data-box . ,(format #f "~a ~a ~a ~a" (car x) (cdr x) (car y) (cdr y))))))
