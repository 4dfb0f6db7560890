// Takes out again what ventwise wrote, one step that can be undone.
import QtQuick 2.2
import MuseScore 3.0
import "ours.js" as Ours

MuseScore {
    menuPath: "Plugins.ventwise.{remove}"
    description: "{removes}"
    version: "1.0"
    requiresScore: true

    onRun: {
        var old = Ours.texts(curScore, Element.STAFF_TEXT)
        curScore.startCmd()
        for (var n = 0; n < old.length; ++n)
            removeElement(old[n])
        curScore.endCmd()
        Qt.quit()
    }
}
