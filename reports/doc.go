// Package reports turns results into view models: tables with columns, units
// and texts, maps, charts and sheets (certificate, job sheet, stock statement), ready to be rendered.
//
// Owns: which columns a person sees, in which order, with how many digits and
// in which display unit.
//
// Does not own: any computation beyond formatting, how a table is drawn
// (reports/render).
//
// Also owns: the IDs of a season's figures and what each sums (Why), and the
// JSON Schema of a season's records.
//
// Invariants: the same result gives the same table.
//
// Units and times: results come in kg, m2, kg/ha; documents show t, ha and
// kg/ha; times are shown in UTC.
package reports
