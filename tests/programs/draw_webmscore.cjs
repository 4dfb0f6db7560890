// Draws a MusicXML file with MuseScore 4's engine, OUT.pdf and a page each OUT-N.svg: node draw_webmscore.cjs PACKAGE IN OUT
globalThis.fetch = undefined // with it the package believes itself in a browser
const { readFileSync, writeFileSync } = require('fs')
const [, , place, source, target] = process.argv
const engine = require(place).default
engine.ready
  .then(() => engine.load('xml', readFileSync(source)))
  .then(async (score) => {
    const pages = await score.npages()
    for (let n = 0; n < pages; n++) writeFileSync(`${target}-${n + 1}.svg`, await score.saveSvg(n, false))
    writeFileSync(`${target}.pdf`, await score.savePdf())
    score.destroy()
  })
  .catch((error) => {
    console.error(String(error))
    process.exit(1)
  })
