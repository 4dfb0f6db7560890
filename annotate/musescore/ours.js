// Texts that ventwise wrote, in whatever voice they stand: rows before an invisible sign or between two, as its grammar has them. What a
// user typed there is the user's and stays. The algorithm is that of own_rows.py, and so are the patterns.
var GRAMMAR = null // filled in by `ventwise plugin --to FOLDER`
var WORDS = null // likewise, in the language asked for

function isWhole(pattern, text) {
    return new RegExp("^(?:" + pattern + ")$").test(text)
}

function isSpelled(row) {
    var reached = { 0: true }, runs = {}
    for (var r = 0; r < GRAMMAR.runs.length; ++r)
        runs[GRAMMAR.runs[r]] = true
    for (var at = 0; at < row.length; ++at) {
        if (!reached[at])
            continue
        if (isWhole(GRAMMAR.drawn, row[at]))
            reached[at + 1] = true
        for (var end = at + 1; end <= Math.min(row.length, at + GRAMMAR.longest); ++end) {
            var piece = row.slice(at, end).join(" ")
            if (runs.hasOwnProperty(piece) || isWhole(GRAMMAR.numbers, piece))
                reached[end] = true
        }
    }
    return reached[row.length] === true
}

function isRow(row) {
    var bare = row.replace(/\s+/g, " ").trim()
    return bare.length > 0 && bare.length <= GRAMMAR.most && (isWhole(GRAMMAR.notes, bare) || isSpelled(bare.split(" ")))
}

function areOurs(text) {
    var pieces = text.trim().split(GRAMMAR.sign), between = [], rows = []
    for (var n = 0; n < pieces.length; ++n)
        (n % 2 ? rows : between).push(pieces[n])
    function isBlank(piece) {
        return piece.trim() === ""
    }
    if (pieces.length % 2 && between.every(isBlank))
        return rows.length > 0 && rows.every(isRow)
    return pieces.length > 1 && pieces.pop() === "" && pieces.every(isRow)
}

// The words of a text without its marks of style.
function wordsOf(text) {
    var bare = text.replace(/<[^>]*>/g, "")
    return bare.replace(/&lt;/g, "<").replace(/&gt;/g, ">").replace(/&quot;/g, '"').replace(/&amp;/g, "&")
}

function texts(score, staffText) {
    var found = []
    for (var segment = score.firstMeasure.firstSegment; segment; segment = segment.next)
        for (var i = 0; i < segment.annotations.length; ++i) {
            var one = segment.annotations[i]
            if (one.type === staffText && areOurs(wordsOf(one.text)))
                found.push(one)
        }
    return found
}
