// Loads a MusicXML file with MuseScore 4's engine and writes it as MusicXML again: node webmscore.cjs PACKAGE IN OUT
globalThis.fetch = undefined // with it the package believes itself in a browser
const { readFileSync, writeFileSync } = require('fs')
const [, , place, source, target] = process.argv
const engine = require(place).default
engine.ready
  .then(() => engine.load('xml', readFileSync(source)))
  .then(async (score) => {
    writeFileSync(target, await score.saveXml())
    score.destroy()
  })
  .catch((error) => {
    console.error(String(error))
    process.exit(1)
  })
