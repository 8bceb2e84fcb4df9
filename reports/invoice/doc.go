// Package invoice turns the events of issued invoices and credit notes into
// documents: a view model, UBL 2.1 by EN 16931, ledger lines.
//
// Owns: what a document says, from its event alone (FromIssued, FromCredited);
// its tables (LineTable, TaxTable, TotalTable, Ledger); the XML (UBL); which
// rules of EN 16931 it keeps (Check, CheckUBL); a document's digest.
//
// Does not own: arithmetic (reconcile/rating), numbers and evidence (whoever
// issues), page layout, how a table is drawn (reports/render).
//
// # EN 16931
//
// Written: one Invoice (type 380) or CreditNote (381) with parties, document
// discounts, taxes, totals and lines. A credit note's event has negative
// amounts; its XML has positive ones, as UBL's credit notes have. Hectares are
// H18: HAR is in none of the lists the rules take. CheckUBL holds a document
// against the rules named there, which are those that one of ours can break;
// it is no replacement for the official schematron. Element order follows the
// sequences of OASIS UBL 2.1; a test holds it against a list of them. Not
// written: payment accounts, delivery, attachments.
//
// # Ledger
//
// One row a line, a document's discount, and a tax; amounts carry the sign of
// the document, so that the rows of one document sum to its total with tax.
//
// Invariants: the same event gives the same bytes. Nothing here computes: all
// amounts are those of the event, but for the sign of a credit note's XML.
//
// Units and times: major units of an ISO 4217 currency; t, ha, km, h; days as
// printed on the document.
package invoice
