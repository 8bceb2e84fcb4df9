// Reads an NMEA file with nmea-simple and prints what it understands of each
// GGA, RMC, VTG and ZDA sentence as one line of JSON, for comparison with
// hopperbook's own reader. Sentences it refuses are left out.
//
//   node nmea-second-reader.mjs FILE
//
// timeOfDayMs is UTC; GGA has no date, so only RMC and ZDA give unixMs.
// nmea-simple gives 0 where a field is empty.
import { readFileSync } from "node:fs";
import { parseNmeaSentence } from "nmea-simple";

const dayMs = 24 * 60 * 60 * 1000;
const bytes = readFileSync(process.argv[2], "latin1");
const lines = [];

for (const [sentence] of bytes.matchAll(/\$[^P]\w(GGA|RMC|VTG|ZDA),[\x20-\x23\x25-\x29\x2b-\x7e]*\*[0-9A-Fa-f]{2}/g)) {
  let packet;
  try {
    packet = parseNmeaSentence(sentence);
  } catch {
    continue;
  }
  const at = packet.datetime ?? packet.time;
  lines.push(
    JSON.stringify({
      kind: packet.sentenceId,
      timeOfDayMs: at && at.getTime() % dayMs,
      unixMs: packet.datetime?.getTime(),
      lat: packet.latitude,
      lon: packet.longitude,
      fixType: packet.fixType,
      status: packet.status,
      speedKnots: packet.speedKnots,
      trackTrue: packet.trackTrue,
    }),
  );
}
process.stdout.write(lines.map((line) => line + "\n").join(""));
