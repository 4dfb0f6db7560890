// Loads a file of MuseScore's own with MuseScore 4's engine and saves it again: node resave.cjs PACKAGE IN OUT
globalThis.fetch = undefined // with it the package believes itself in a browser
const { readFileSync, writeFileSync } = require('fs')
const [, , place, source, target] = process.argv
const engine = require(place).default
engine.ready
  .then(() => engine.load('mscx', readFileSync(source)))
  .then(async (score) => {
    writeFileSync(target, await score.saveMsc('mscx'))
    score.destroy()
  })
  .catch((error) => {
    console.error(String(error))
    process.exit(1)
  })
