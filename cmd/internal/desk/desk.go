package desk

import (
	"context"
	"encoding/base64"
	"encoding/json"
	"fmt"
	"io"
	"slices"
	"sync"
	"unicode/utf8"

	"hopperbook/ingest/book"
	"hopperbook/reconcile"
	"hopperbook/reports"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// The questions.
const (
	Reconcile = "reconcile" // the whole result, worked out anew
	Fields    = "fields"    // what went on each field
	Drift     = "drift"     // the verdict on each machine; asked with DriftParams
	Balance   = "balance"   // what one machine spread and holds; asked with BalanceParams
	Stock     = "stock"     // docketed, loaded, spread, surveyed
	Gaps      = "gaps"      // what is known to be missing
	Rejects   = "rejects"   // what was kept with a reason
	Export    = "export"    // every event, byte for byte, one a line
	Marks     = "marks"     // what the book holds of each source
	Counts    = "counts"    // how many events it holds
	Map       = "map"       // where a product landed on a field; asked with MapParams
	Tests     = "tests"     // the calibration's tests and checks as they count; asked with TestsParams
	Bill      = "bill"      // what a job or a period comes to, or its invoice; asked with BillParams
	Credit    = "credit"    // takes an invoice back; asked with CreditParams
	Document  = "document"  // an issued document beside the book as it is
	Documents = "documents" // every issued document
	JobSheet  = "jobsheet"  // what was done for a job; asked with JobSheetParams
	Season    = "season"    // a customer's records of a season; asked with SeasonParams
	Why       = "why"       // where a figure of a season's records comes from; asked with WhyParams
	Before    = "before"    // a job held against rules before it is spread; asked with BeforeParams
	Certify   = "certify"   // a machine's calibration certificate; asked with CertifyParams
)

// Desk answers from one book. Safe for concurrent use.
type Desk struct {
	book       *book.Book
	working    sync.Mutex  // one reconciliation at a time; the next finds it done
	kept       *ledger     // guarded by working; nil: to be read
	keptFixes  int         // up to how many the kept ledger holds them all
	seasons    sync.Mutex  // one season at a time; taken before working
	lastSeason *seasonWork // guarded by seasons; nil: none
	issuing    sync.Mutex  // one document at a time, so that numbers have no gap
}

// New makes a desk of an open book.
func New(b *book.Book) *Desk {
	return &Desk{book: b, keptFixes: defaultKeptFixes}
}

// Questions lists the questions.
func (d *Desk) Questions() []string {
	return []string{Reconcile, Fields, Drift, Balance, Stock, Gaps, Rejects, Export, Marks, Counts, Map, Tests, Certify, Bill, Credit, Document, Documents, JobSheet, Season, Why, Before}
}

// Answer writes the answer to w.
func (d *Desk) Answer(ctx context.Context, question string, params []byte, w io.Writer) error {
	switch question {
	case Reconcile:
		res, err := d.reconcile(ctx)
		return writeUnless(err, w, res)
	case Fields:
		res, err := d.result(ctx)
		return writeUnless(err, w, reports.FieldsAnswer{Schema: reports.SchemaFields, Fields: orEmpty(res.Fields)})
	case Drift:
		return d.drift(ctx, params, w)
	case Balance:
		return d.balance(ctx, params, w)
	case Stock:
		return d.stock(ctx, w)
	case Gaps:
		return d.gaps(ctx, w)
	case Rejects:
		return d.rejects(ctx, params, w)
	case Export:
		return d.export(ctx, w)
	case Counts:
		return d.counts(ctx, w)
	case Marks:
		return d.marks(ctx, params, w)
	case Map:
		return d.fieldMap(ctx, params, w)
	case Tests:
		return d.tests(ctx, params, w)
	case Certify:
		return d.certify(ctx, params, w)
	case Bill:
		return d.bill(ctx, params, w)
	case Credit:
		return d.credit(ctx, params, w)
	case Document:
		return d.document(ctx, params, w)
	case Season:
		return d.seasonRecords(ctx, params, w)
	case Why:
		return d.why(ctx, params, w)
	case Before:
		return d.before(ctx, params, w)
	case Documents:
		return d.documents(ctx, w)
	case JobSheet:
		return d.jobSheet(ctx, params, w)
	}
	return fault.Newf("answer", fault.Usage, fmt.Sprintf("there is no question %q", question), "hub and command are of different versions; update the older")
}

// paramsOf reads the parameters of a question.
func paramsOf[P any](question string, params []byte) (p P, err error) {
	if err := json.Unmarshal(params, &p); err != nil {
		return p, fault.New("answer "+question, fault.Usage, err, "")
	}
	return p, nil
}

func write(w io.Writer, answer any) error {
	enc := json.NewEncoder(w)
	enc.SetIndent("", " ")
	return fault.Wrap("write the answer", enc.Encode(answer))
}

func writeUnless(err error, w io.Writer, answer any) error {
	if err != nil {
		return err
	}
	return write(w, answer)
}

func orEmpty[T any](list []T) []T {
	if list == nil {
		return []T{}
	}
	return list
}

func (d *Desk) gaps(ctx context.Context, w io.Writer) error {
	gaps, err := d.book.Gaps(ctx)
	answer := reports.GapsAnswer{Schema: reports.SchemaGaps, Gaps: make([]reports.Gap, 0, len(gaps))}
	for _, g := range gaps {
		answer.Gaps = append(answer.Gaps, reports.Gap{Source: g.Source, From: g.From, To: g.To})
	}
	return writeUnless(err, w, answer)
}

// RejectsParams may ask for the reasons alone: the messages can be large.
type RejectsParams struct {
	Brief bool `json:"brief"`
}

func (d *Desk) rejects(ctx context.Context, params []byte, w io.Writer) error {
	p, err := paramsOf[RejectsParams]("rejects", params)
	if err != nil {
		return err
	}
	troubles, err := d.book.Troubles(ctx, !p.Brief)
	answer := reports.RejectsAnswer{Schema: reports.SchemaRejects, Rejects: make([]reports.Reject, 0, len(troubles))}
	for _, t := range troubles {
		r := reports.Reject{Kind: string(t.Kind), Source: t.Source, Sequence: t.Sequence, Subject: t.Subject, Received: t.At, Pointer: t.Pointer, Rule: t.Rule,
			Detail: t.Detail, Hint: t.Hint, Repaired: t.Repaired, Raw: string(t.Raw)}
		if !utf8.Valid(t.Raw) {
			r.Raw, r.Base64 = base64.StdEncoding.EncodeToString(t.Raw), true
		}
		answer.Rejects = append(answer.Rejects, r)
	}
	return writeUnless(err, w, answer)
}

func (d *Desk) counts(ctx context.Context, w io.Writer) error {
	types, err := d.book.Count(ctx)
	if err != nil {
		return err
	}
	troubles, err := d.book.Troubles(ctx, false)
	answer := reports.CountsAnswer{Schema: reports.SchemaCounts, Types: types}
	for _, n := range types {
		answer.Events += n
	}
	for _, t := range troubles {
		if t.Kind != book.TroubleClock && !t.Repaired {
			answer.Kept++
		}
	}
	return writeUnless(err, w, answer)
}

// export writes JSON lines; ingest takes no event with a line break in it.
func (d *Desk) export(ctx context.Context, w io.Writer) error {
	return d.book.Export(ctx, func(raw []byte) error {
		if _, err := w.Write(raw); err != nil {
			return fault.Wrap("export", err)
		}
		_, err := w.Write([]byte{'\n'})
		return fault.Wrap("export", err)
	})
}

func (d *Desk) marks(ctx context.Context, params []byte, w io.Writer) error {
	p, err := paramsOf[struct {
		Sources []schemas.Source `json:"sources"`
	}]("marks", params)
	if err != nil {
		return err
	}
	marks, err := d.book.Marks(ctx)
	if len(p.Sources) > 0 {
		marks = slices.DeleteFunc(marks, func(m schemas.Mark) bool { return !slices.Contains(p.Sources, m.Source) })
	}
	return writeUnless(err, w, orEmpty(marks))
}

// resultName is the kept result's name in the book.
const resultName = "reconcile"

// result is the kept result, or a new one when events have come since.
func (d *Desk) result(ctx context.Context) (reconcile.Result, error) {
	head, err := d.book.Head(ctx)
	if err != nil {
		return reconcile.Result{}, err
	}
	doc, at, ok, err := d.book.Result(ctx, resultName)
	if err != nil {
		return reconcile.Result{}, err
	}
	var res reconcile.Result
	if ok && json.Unmarshal(doc, &res) == nil && res.Schema == reconcile.SchemaResult {
		if fresh, err := d.holds(ctx, at, head); err != nil || fresh {
			return res, err
		}
	}
	return d.reconcile(ctx)
}

// holds reports whether what was worked out at one head is right at a later
// one: no event came that a reconciliation reads, or that settles a finding about an invoice or an amendment.
func (d *Desk) holds(ctx context.Context, at, head int64) (bool, error) {
	if at == head {
		return true, nil
	}
	read := append(evidenceTypes(), schemas.TypeRegisterContractor, schemas.TypeRegisterCustomer, schemas.TypeInvoiceCredited)
	var later int64
	err := d.book.Read(ctx, func(v *book.View) (err error) {
		later, err = v.Later(ctx, at, read)
		return err
	})
	return later == 0, err
}

// reconcile works everything out and keeps it, under the head it was read at:
// events that come meanwhile make it stale at once.
func (d *Desk) reconcile(ctx context.Context) (reconcile.Result, error) {
	d.working.Lock()
	defer d.working.Unlock()
	in, changed, head, err := d.inputAndInvoices(ctx)
	if err != nil {
		return reconcile.Result{}, err
	}
	res, err := reconcile.Run(in)
	if err != nil {
		return reconcile.Result{}, err
	}
	res.AddFindings(changed)
	doc, err := json.Marshal(res)
	if err != nil {
		return reconcile.Result{}, fault.New("keep the result", fault.Internal, err, "")
	}
	return res, d.book.SaveResult(ctx, resultName, head, doc)
}
