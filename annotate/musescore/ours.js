// Texts that ventwise wrote, known by the invisible sign at both ends; in whatever voice they stand.
function texts(score, staffText) {
    var sign = "\u2063", found = []
    for (var segment = score.firstMeasure.firstSegment; segment; segment = segment.next)
        for (var i = 0; i < segment.annotations.length; ++i) {
            var one = segment.annotations[i]
            if (one.type !== staffText)
                continue
            var bare = one.text.replace(/<[^>]*>/g, "").trim()
            if (bare.length > 1 && bare[0] === sign && bare[bare.length - 1] === sign)
                found.push(one)
        }
    return found
}
