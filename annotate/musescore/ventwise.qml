// ventwise for MuseScore 3: fingerings and technique notes as staff texts, one step that can be undone.
// Put in place by `ventwise plugin --to FOLDER`, which fills in the command and all words below.
import QtQuick 2.2
import QtQuick.Dialogs 1.2
import MuseScore 3.0
import FileIO 3.0
import "ours.js" as Ours

MuseScore {
    id: plugin
    menuPath: "Plugins.ventwise.{write}"
    description: "{writes}"
    version: "1.0"
    requiresScore: true

    readonly property string command: "ventwise"
    readonly property int timeLimit: 600000 // milliseconds

    FileIO { id: file }
    QProcess { id: process }
    MessageDialog { id: dialog; title: "ventwise" }

    function tell(words) {
        console.log("ventwise: " + words)
        dialog.text = words
        if (Qt.platform.pluginName !== "offscreen")
            dialog.open()
    }

    // What the command makes of the score as it stands now; null, told, where it could not look.
    function ask() {
        var base = file.tempPath() + "/ventwise-" + Date.now()
        if (!writeScore(curScore, base, "musicxml")) {
            tell(Ours.WORDS.not_exported.arg(base + ".musicxml"))
            return null
        }
        process.start(command + ' plugin --language ' + Ours.WORDS.language + ' --places "' + base + '.musicxml"')
        var ended = process.waitForFinished(timeLimit)
        var answer = ended ? process.readAllStandardOutput().toString() : ""
        file.source = base + ".musicxml"
        file.remove()
        if (!ended) {
            tell(Ours.WORDS.no_answer.arg(command))
            return null
        }
        try {
            answer = JSON.parse(answer)
        } catch (error) {
            tell(Ours.WORDS.no_list.arg(command))
            return null
        }
        if (answer.error) {
            tell(answer.error)
            return null
        }
        return answer
    }

    function barTicks() {
        var ticks = []
        for (var measure = curScore.firstMeasure; measure; measure = measure.nextMeasure)
            ticks.push(measure.firstSegment.tick)
        return ticks
    }

    // Texts by track and tick.
    function byTrack(places) {
        var ticks = barTicks(), wanted = {}
        for (var i = 0; i < places.length; ++i) {
            var place = places[i]
            var track = curScore.parts[place.part - 1].startTrack + 4 * (place.staff - 1) + place.voice
            var tick = ticks[place.measure] + Math.round(place.quarters[0] * division / place.quarters[1])
            if (!wanted[track])
                wanted[track] = {}
            wanted[track][tick] = place.text
        }
        return wanted
    }

    // Chords within the rounding of ticks, where none stands at the tick itself.
    function chordsOf(track) {
        var found = {}, cursor = curScore.newCursor()
        cursor.track = track
        for (cursor.rewind(0); cursor.segment; cursor.next())
            if (cursor.element && cursor.element.type === Element.CHORD)
                found[cursor.tick] = true
        return found
    }

    function nearest(chords, tick) {
        if (chords[tick])
            return tick
        var near = []
        for (var off = -2; off <= 2; ++off)
            if (chords[tick + off])
                near.push(tick + off)
        return near.length === 1 ? near[0] : -1
    }

    function write(wanted) {
        var written = 0
        for (var track in wanted) {
            var chords = chordsOf(Number(track)), texts = {}
            for (var tick in wanted[track]) {
                var at = nearest(chords, Number(tick))
                if (at >= 0)
                    texts[at] = wanted[track][tick]
            }
            var cursor = curScore.newCursor()
            cursor.track = Number(track)
            for (cursor.rewind(0); cursor.segment; cursor.next()) {
                var text = texts[cursor.tick]
                if (text && cursor.element && cursor.element.type === Element.CHORD) {
                    var staffText = newElement(Element.STAFF_TEXT)
                    staffText.text = text
                    cursor.add(staffText)
                    ++written
                }
            }
        }
        return written
    }

    onRun: {
        var answer = ask()
        if (answer) {
            curScore.startCmd()
            var old = Ours.texts(curScore, Element.STAFF_TEXT)
            for (var n = 0; n < old.length; ++n)
                removeElement(old[n])
            var written = write(byTrack(answer.places))
            curScore.endCmd()
            var missed = answer.places.length - written
            tell(answer.told + (missed ? " " + Ours.WORDS.missed.arg(missed) : ""))
        }
        Qt.quit()
    }
}
