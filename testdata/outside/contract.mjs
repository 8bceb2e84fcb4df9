// Holds hopperbook's contract against second implementations: the JSON Schemas
// with ajv, the envelope with the CloudEvents SDK, the AsyncAPI document with
// its parser. Events come on standard input, one JSON object a line:
// {"name", "type", "valid", "event"}. Prints one JSON object; anything in
// "wrong" is a failure.
//
//   node contract.mjs SCHEMA_DIR ASYNCAPI_FILE < EVENTS
import { readFileSync, readdirSync } from 'node:fs'
import { join } from 'node:path'
import { createInterface } from 'node:readline'
import Ajv2020 from 'ajv/dist/2020.js'
import addFormats from 'ajv-formats'
import { CloudEvent } from 'cloudevents'
import parserModule from '@asyncapi/parser'

const [schemaDir, asyncapiFile] = process.argv.slice(2)
const report = { schemas: 0, valid: 0, invalid: 0, cloudevents: 0, asyncapi: 0, wrong: [] }

const ajv = new Ajv2020.default({ strict: true, strictRequired: false, strictTypes: false, strictTuples: false })
addFormats.default(ajv)
const validators = {}
for (const file of readdirSync(schemaDir).filter((f) => f.endsWith('.schema.json'))) {
  const schema = JSON.parse(readFileSync(join(schemaDir, file), 'utf8'))
  validators[file.replace('.schema.json', '')] = ajv.compile(schema)
  report.schemas++
}

for await (const line of createInterface({ input: process.stdin, crlfDelay: Infinity })) {
  const { name, type, valid, event } = JSON.parse(line)
  const validate = validators[type]
  if (validate(event) !== valid) report.wrong.push(`ajv: ${name}: ${JSON.stringify(validate.errors)}`)
  report[valid ? 'valid' : 'invalid']++
  if (!valid) continue
  try {
    const ce = new CloudEvent(event)
    if (!ce.validate() || ce.sequence !== event.sequence) throw new Error('not valid')
    report.cloudevents++
  } catch (err) {
    report.wrong.push(`cloudevents: ${name}: ${err.message} ${JSON.stringify(err.errors ?? '')}`)
  }
}

const { document, diagnostics } = await new parserModule.Parser().parse(readFileSync(asyncapiFile, 'utf8'))
for (const d of diagnostics.filter((d) => d.severity === 0)) report.wrong.push(`asyncapi: ${d.path.join('/')}: ${d.message}`)
report.asyncapi = document?.operations().all().length ?? 0

// The checks must be able to fail.
const broken = readFileSync(asyncapiFile, 'utf8').replace('"action": "receive"', '"action": "gobble"')
const again = await new parserModule.Parser().parse(broken)
if (!again.diagnostics.some((d) => d.severity === 0)) report.wrong.push('asyncapi: the parser accepts a wrong action')

console.log(JSON.stringify(report))
