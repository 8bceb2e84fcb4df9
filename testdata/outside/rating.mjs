// A second calculator for bills, in exact fractions of BigInt. Reads one JSON
// object a line on standard input: {"agreement", "quantities"}, measures as
// decimal text; writes one JSON object a line: the bill's numbers as decimal
// text, or {"none": true} where nothing that was done has a price.
//
//   node rating.mjs < AGREEMENTS
import { createInterface } from 'node:readline'

// A fraction is [numerator, denominator], the denominator above 0.
const frac = (text) => {
  const [whole, part = ''] = text.split('.')
  return [BigInt(whole + part), 10n ** BigInt(part.length)]
}
const add = ([a, b], [c, d]) => [a * d + c * b, b * d]
const neg = ([a, b]) => [-a, b]
const mul = ([a, b], [c, d]) => [a * c, b * d]
const less = ([a, b], [c, d]) => a * d < c * b
const min = (x, y) => (less(y, x) ? y : x)
const zero = [0n, 1n]

// round gives whole units of 10^-digits.
const round = ([a, b], digits, rule) => {
  a *= 10n ** BigInt(digits)
  const size = a < 0n ? -a : a
  let q = size / b
  const twice = 2n * (size % b)
  if (twice > b || (twice === b && (rule !== 'half_even' || q % 2n === 1n))) q += 1n
  return [a < 0n ? -q : q, 10n ** BigInt(digits)]
}
const text = ([a, b], digits) => {
  const units = (a * 10n ** BigInt(digits)) / b
  const size = (units < 0n ? -units : units).toString().padStart(digits + 1, '0')
  const out = digits ? size.slice(0, -digits) + '.' + size.slice(-digits) : size
  return units < 0n ? '-' + out : out
}

const minorDigits = { JPY: 0, KWD: 3 }
const measures = { docket: 'docket_kg', loaded: 'loaded_kg', spread: 'spread_kg', boundary: 'boundary_m2', covered: 'covered_m2' }

// measured is a line's exact quantity in its unit; null where it counts a
// product that the job has not.
const measured = (line, q) => {
  if (line.kind === 'fixed') return [1n, 1n]
  if (line.kind === 'per_km') return frac(q.distance_km)
  if (line.kind === 'per_hour') return frac(q.time_h)
  const area = line.kind === 'per_hectare'
  const rows = (area ? q.areas : q.masses).filter((r) => !line.product || r.product === line.product)
  if (rows.length === 0 && line.product) return null
  const sum = rows.reduce((s, r) => add(s, frac(r[measures[line.basis]])), zero)
  return mul(sum, [1n, area ? 10000n : 1000n])
}

const priced = (line, quantity) => {
  const steps = [{ from: '0', price: line.price }, ...(line.steps ?? [])].map((s) => [frac(s.from), frac(s.price)])
  if (line.steps_rule !== 'tiered') {
    return [[quantity, steps.filter(([from], i) => i === 0 || !less(quantity, from)).at(-1)[1]]]
  }
  return steps
    .map(([from, price], i) => {
      const to = i + 1 < steps.length ? min(quantity, steps[i + 1][0]) : quantity
      return [add(to, neg(from)), price]
    })
    .filter(([width], i) => i === 0 || less(zero, width))
}

const bill = ({ agreement: a, quantities: q }) => {
  const digits = minorDigits[a.currency] ?? 2
  const decimals = a.quantity_decimals ?? 3
  const money = (x) => round(x, digits, a.rounding)
  const taxOf = (line) => {
    const from = line.tax_category ? line : a
    return [from.tax_category, frac(from.tax_pct || '0')]
  }
  const key = ([category, pct]) => category + ' ' + text(mul(pct, [1n, 1n]), 8)
  const lines = []
  for (const line of a.lines.filter((l) => l.kind !== 'minimum')) {
    const exact = measured(line, q)
    if (exact === null) continue
    const quantity = line.kind === 'fixed' ? exact : round(exact, decimals, a.rounding)
    let left = frac(line.discount_amount ?? '0')
    for (const [width, price] of priced(line, quantity)) {
      const full = money(mul(width, price))
      let net
      if (line.discount_pct) {
        net = money(mul(mul(width, price), mul(add(frac('100'), neg(frac(line.discount_pct))), [1n, 100n])))
      } else {
        const off = min(left, full)
        left = add(left, neg(off))
        net = add(full, neg(off))
      }
      lines.push({ width, price, net, tax: taxOf(line), discounted: true, fixed: line.kind === 'fixed' })
    }
  }
  const discounts = new Map()
  const pct = frac(a.discount_pct ?? '0')
  if (less(zero, pct)) {
    for (const l of lines) discounts.set(key(l.tax), add(discounts.get(key(l.tax)) ?? zero, l.net))
    for (const [k, base] of discounts) discounts.set(k, money(mul(mul(base, pct), [1n, 100n])))
  }
  const off = [...discounts.values()].reduce(add, zero)
  const least = a.lines.find((l) => l.kind === 'minimum')
  if (least) {
    const net = add(lines.reduce((s, l) => add(s, l.net), zero), neg(off))
    const missing = add(frac(least.price), neg(net))
    if (less(zero, missing)) lines.push({ width: [1n, 1n], price: missing, net: missing, tax: taxOf(least), fixed: true })
  }
  if (lines.length === 0) return { none: true }
  const taxes = new Map()
  for (const l of lines) {
    const k = key(l.tax)
    const row = taxes.get(k) ?? { pct: l.tax[1], base: neg(discounts.get(k) ?? zero) }
    row.base = add(row.base, l.net)
    taxes.set(k, row)
  }
  let tax = zero
  for (const row of taxes.values()) {
    row.amount = money(mul(mul(row.base, row.pct), [1n, 100n]))
    tax = add(tax, row.amount)
  }
  const net = add(lines.reduce((s, l) => add(s, l.net), zero), neg(off))
  const show = (x) => text(x, digits)
  return {
    lines: lines.map((l) => [l.fixed ? text(l.width, 0) : text(l.width, decimals), text(l.price, 8), show(l.net)]),
    discounts: [...discounts.values()].map(show),
    taxes: [...taxes].map(([k, row]) => [k, show(row.base), show(row.amount)]),
    totals: [net, tax, add(net, tax)].map(show),
  }
}

for await (const line of createInterface({ input: process.stdin, crlfDelay: Infinity })) {
  console.log(JSON.stringify(bill(JSON.parse(line))))
}
