package main

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/xuri/excelize/v2"

	"hopperbook/reports"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// billable is a book's events: one machine did so many small jobs, each on a
// field of its own, under an agreement of one line by area and one fixed.
func billable(jobs int, contractor, agreement bool) string {
	const at = "2026-03-02T08:00:00Z"
	var b strings.Builder
	add := func(typ, when, data string) { b.WriteString(line(typ, when, data) + "\n") }
	if contractor {
		add("register.contractor", at, `{"name":"=Tarn(1) & Töchter <Ltd>","address":"1 Nowhere Road\nNowhere","country":"NZ","tax_id":"NZ000000000","tax_category":"S","tax_pct":"15","payment_note":"+ by transfer"}`)
	}
	add("register.customer", at, `{"customer":"c1","name":"@SUM(A1) Żółć Ферма 農場 with a name that goes on and on, and on, until it must be broken over lines","country":"NZ"}`)
	if agreement {
		add("register.agreement", at, `{"agreement":"a1","customer":"c1","currency":"NZD","tax_category":"S","tax_pct":"15","payment_days":10,"lines":[{"kind":"per_hectare","basis":"boundary","price":"30.00","text":"=1+1"},{"kind":"fixed","price":"5.00","text":"-coming"}]}`)
	}
	add("register.product", at, `{"product":"lime","name":"Lime","form":"powder"}`)
	add("register.machine", at, `{"machine":"m1","name":"M1","hopper_m3":9}`)
	add("load.weighed", at, `{"load":"l1","product":"lime","net_kg":9000,"method":"bucket","machine":"m1"}`)
	add("setting.changed", at, `{"machine":"m1","product":"lime","bout_width_m":12,"set_rate_kg_ha":2000}`)
	add("hopper.refilled", "2026-03-02T08:01:00Z", `{"machine":"m1","refill":"r1","product":"lime","loads":["l1"],"residual_kg":0,"residual_method":"empty"}`)
	for i := range jobs {
		lon := 150 + float64(i)*0.003
		add("register.field", at, fmt.Sprintf(`{"field":"f%04d","customer":"c1","name":"Field %d","boundary":{"type":"Polygon","coordinates":[[[%[3]f,-46],[%[4]f,-46],[%[4]f,-45.999],[%[3]f,-45.999],[%[3]f,-46]]]}}`, i, i, lon, lon+0.001))
		add("register.job", at, fmt.Sprintf(`{"job":"j%04d","customer":"c1","fields":["f%04d"],"product":"lime","set_rate_kg_ha":2000}`, i, i))
		start := fmt.Sprintf("2026-03-%02dT%02d:%02d:00Z", 2+i/480, 9+i/60%8, i%60)
		var dt, lat, lons, speed, on []string
		for k := range 25 {
			dt, lat = append(dt, fmt.Sprint(1000*k)), append(lat, fmt.Sprintf("%f", -45.9999+float64(k)*0.00003))
			lons, speed, on = append(lons, fmt.Sprintf("%f", lon+0.0005)), append(speed, "12"), append(on, "1")
		}
		list := func(v []string) string { return "[" + strings.Join(v, ",") + "]" }
		add("pass.logged", start, fmt.Sprintf(`{"machine":"m1","start":%q,"dt_ms":%s,"lat":%s,"lon":%s,"speed_kmh":%s,"spreading":%s,"set_rate_kg_ha":2000,"bout_width_m":12,"job":"j%04d","field":"f%04d"}`,
			start, list(dt), list(lat), list(lons), list(speed), list(on), i, i))
	}
	return b.String()
}

// bookOf publishes events into a new book.
func bookOf(t *testing.T, events string) string {
	t.Helper()
	dir := t.TempDir()
	got := decode[struct{ NotBooked int }](t, must(t, events, "publish", "-", "--json", "--book", dir))
	if got.NotBooked != 0 {
		t.Fatalf("%d events were not booked: %s", got.NotBooked, must(t, "", "rejects", "--book", dir))
	}
	return dir
}

// refused wants a command to end with a status and to say something.
func refused(t *testing.T, code fault.Code, says string, args ...string) {
	t.Helper()
	out, stderr, exit := command(t, "", args...)
	if exit != code.Exit() || !strings.Contains(stderr+out, says) {
		t.Errorf("hopperbook %s: exit %d, want %d and %q in\n%s%s", strings.Join(args, " "), exit, code.Exit(), says, out, stderr)
	}
}

// From a plan to a document that can be verified, taken back and billed again.
func TestBillCreditVerify(t *testing.T) {
	book, out := bookOf(t, billable(2, true, true)), t.TempDir()
	plan := must(t, "", "bill", "j0000", "--dry-run", "--book", book)
	for _, row := range strings.Split(plan, "\n") {
		if strings.Contains(row, "NZD") && len([]rune(row)) > 120 {
			t.Errorf("too wide for a terminal: %s", row)
		}
	}
	refused(t, fault.Usage, "add --yes", "bill", "j0000", "--book", book)
	refused(t, fault.Usage, "nobody is asked", "bill", "j0000", "--json", "--book", book)
	refused(t, fault.Usage, "choose a4 or letter", "bill", "j0000", "--yes", "--out", out, "--paper", "a3", "--book", book)
	refused(t, fault.Usage, "name a folder", "bill", "j0000", "--yes", "--out", os.Args[0], "--book", book)
	if a := decode[reports.DocumentsAnswer](t, must(t, "", "documents", "--json", "--book", book)); len(a.Documents) != 0 {
		t.Fatalf("a plan issued %v", a)
	}
	must(t, "", "bill", "j0000", "--yes", "--day", "2026-04-01", "--out", out, "--book", book)
	refused(t, fault.Conflict, "stands on 2026-0001", "bill", "j0000", "--yes", "--book", book)
	refused(t, fault.NotFound, "not registered", "bill", "j9999", "--dry-run", "--book", book)
	for _, arg := range []string{"2026-0001", filepath.Join(out, "2026-0001.pdf"), filepath.Join(out, "2026-0001.html"), filepath.Join(out, "2026-0001.xml")} {
		if got := must(t, "", "verify", arg, "--book", book); !strings.Contains(got, "invoice 2026-0001") {
			t.Errorf("verify %s: %s", arg, got)
		}
	}
	refused(t, fault.Input, "no mark", "verify", os.Args[0], "--book", book)
	refused(t, fault.NotFound, "no such document", "verify", "2026-0099", "--book", book)
	refused(t, fault.NotFound, "no such invoice", "credit", "2026-0099", "--reason", "x", "--yes", "--book", book)
	refused(t, fault.Usage, "say why", "credit", "2026-0001", "--reason", " ", "--yes", "--book", book)
	must(t, "", "credit", "2026-0001", "--reason", "=test", "--yes", "--day", "2026-04-02", "--out", out, "--book", book)
	refused(t, fault.Conflict, "2026C-0001", "credit", "2026-0001", "--reason", "x", "--yes", "--book", book)
	refused(t, fault.Usage, "2026-0001 is of 2026-04-01", "bill", "j0000", "--dry-run", "--day", "2026-03-31", "--book", book)
	refused(t, fault.Usage, "marks credit notes", "bill", "j0000", "--dry-run", "--series", "2026C", "--book", book)
	must(t, "", "bill", "--customer", "c1", "--from", "2026-03-01", "--to", "2026-04-01", "--yes", "--day", "2026-04-03", "--book", book)
	a := decode[reports.DocumentsAnswer](t, must(t, "", "documents", "--json", "--book", book))
	states := []string{}
	for _, d := range a.Documents {
		states = append(states, fmt.Sprintf("%s %s %d", d.Number, d.State, len(d.Jobs)))
	}
	if want := []string{"2026-0001 credited 1", "2026-0002 open 2", "2026C-0001 credit_note 1"}; !slices.Equal(states, want) {
		t.Errorf("documents %q, want %q", states, want)
	}
	ledgerIsSafe(t, book)
}

// ledgerIsSafe wants names that begin like formulas to be text in the ledger.
func ledgerIsSafe(t *testing.T, book string) {
	t.Helper()
	name := filepath.Join(t.TempDir(), "ledger.csv")
	must(t, "", "documents", "--ledger", name, "--book", book)
	raw, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(bytes.NewReader(raw)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	texts := 0
	for _, row := range rows[1:] {
		for i, cell := range row {
			number := slices.Contains([]string{"amount", "quantity"}, rows[0][i])
			if cell != "" && strings.ContainsRune("=+-@", rune(cell[0])) && !number {
				t.Errorf("%s would run: %s", rows[0][i], cell)
			}
			if strings.HasPrefix(cell, "'") {
				texts++
			}
		}
	}
	if got := must(t, "", "verify", name, "--book", book); strings.Count(got, "yes") != 3 {
		t.Errorf("the ledger verified:\n%s", got)
	}
	for _, comma := range ";\t" {
		var b bytes.Buffer
		b.WriteString("\ufeffsep=" + string(comma) + "\r\n")
		w := csv.NewWriter(&b)
		w.Comma, w.UseCRLF = comma, true
		if err := w.WriteAll(rows); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(name, b.Bytes(), 0o600); err != nil {
			t.Fatal(err)
		}
		must(t, "", "verify", name, "--book", book)
	}
	other := rows[3][slices.Index(rows[0], "amount")]
	if err := os.WriteFile(name, bytes.Replace(raw, []byte(","+other+","), []byte(",1.00,"), 1), 0o600); err != nil {
		t.Fatal(err)
	}
	refused(t, fault.Conflict, fmt.Sprintf(`amount: "1.00" here, %q in the book`, other), "verify", name, "--book", book)
	workbook := filepath.Join(t.TempDir(), "ledger.xlsx")
	must(t, "", "documents", "--ledger", workbook, "--book", book)
	f, err := excelize.OpenFile(workbook)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	got, err := f.GetRows("ledger")
	if err != nil || len(got) != len(rows) {
		t.Errorf("the workbook has %d rows, the CSV %d (%v)", len(got), len(rows), err)
	}
	for r, row := range got {
		for c := range row {
			at, _ := excelize.CoordinatesToCellName(c+1, r+1)
			if formula, _ := f.GetCellFormula("ledger", at); formula != "" {
				t.Errorf("%s would run: %s", at, formula)
			}
		}
	}
	if texts == 0 {
		t.Error("nothing in the ledger was kept from running: the test's names are not in it")
	}
}

// A file of which one letter, its mark or its number was changed, and evidence that was, is told; later
// events of other work change nothing that is drawn.
func TestVerifyTellsTampering(t *testing.T) {
	book, out := bookOf(t, billable(1, true, true)), t.TempDir()
	must(t, "", "bill", "j0000", "--yes", "--day", "2026-04-01", "--out", out, "--paper", "letter", "--book", book)
	drawnAgain := func() {
		t.Helper()
		again := t.TempDir()
		must(t, "", "documents", "2026-0001", "--out", again, "--paper", "letter", "--book", book)
		for _, ext := range []string{".pdf", ".html", ".xml", ".csv"} {
			a, errA := os.ReadFile(filepath.Join(out, "2026-0001"+ext))
			b, errB := os.ReadFile(filepath.Join(again, "2026-0001"+ext))
			if errA != nil || errB != nil || !bytes.Equal(a, b) {
				t.Errorf("%s is drawn to other bytes a second time (%v, %v)", ext, errA, errB)
			}
		}
	}
	drawnAgain()
	for ext, word := range map[string]string{".pdf": "", ".html": "35.45", ".xml": "35.45"} {
		raw, err := os.ReadFile(filepath.Join(out, "2026-0001"+ext))
		if err != nil {
			t.Fatal(err)
		}
		_, digest, ok := reports.FindMark(raw)
		if !ok {
			t.Fatalf("%s bears no mark", ext)
		}
		if got := must(t, "", "verify", filepath.Join(out, "2026-0001"+ext), "--book", book); !strings.Contains(got, "the file is what is drawn of it") {
			t.Errorf("nothing is said of the file:\n%s", got)
		}
		other := strings.Repeat("0", len(digest))
		name := filepath.Join(t.TempDir(), "x"+ext)
		written := func(raw []byte) {
			t.Helper()
			if err := os.WriteFile(name, raw, 0o600); err != nil {
				t.Fatal(err)
			}
		}
		written(bytes.ReplaceAll(raw, []byte(digest), []byte(other)))
		refused(t, fault.Conflict, other, "verify", name, "--book", book)
		altered := bytes.Replace(raw, []byte(word), []byte("15.45"), 1)
		if word == "" {
			altered = bytes.Clone(raw)
			altered[bytes.Index(raw, []byte("stream"))+40] ^= 1
		} else if bytes.Equal(altered, raw) {
			t.Fatalf("%s does not say %s", ext, word)
		}
		written(altered)
		refused(t, fault.Conflict, "it was altered", "verify", name, "--book", book)
	}
	more := line("load.weighed", "2026-03-05T08:00:00Z", `{"load":"l9","product":"lime","net_kg":5000,"method":"bucket","machine":"m1"}`)
	must(t, more+"\n", "publish", "-", "--book", book)
	drawnAgain()
	must(t, "", "verify", filepath.Join(out, "2026-0001.pdf"), "--book", book)
	id := ""
	for _, row := range strings.Split(must(t, "", "export", "events", "--book", book), "\n") {
		if e, bad := schemas.Read([]byte(row)); bad == nil && e.Type == schemas.TypeLoadWeighed && strings.Contains(row, `"l1"`) {
			id = string(e.ID)
		}
	}
	must(t, line("event.amended", "2026-04-02T08:00:00Z", fmt.Sprintf(`{"amends":%q,"action":"replace","reason":"misread","replacement":{"load":"l1","product":"lime","net_kg":8000,"method":"bucket","machine":"m1"}}`, id))+"\n", "publish", "-", "--book", book)
	refused(t, fault.Conflict, "event.amended: 0 then, 1 now", "verify", "2026-0001", "--book", book)
	drawnAgain()
	if got := must(t, "", "reconcile", "--book", book); !strings.Contains(got, "invoice_evidence_changed") {
		t.Errorf("no finding of the changed evidence in\n%s", got)
	}
}

// What is missing is said before anything is issued.
func TestBillRefuses(t *testing.T) {
	refused(t, fault.Input, "register.contractor", "bill", "j0000", "--yes", "--book", bookOf(t, billable(1, false, true)))
	refused(t, fault.NotFound, "agreement", "bill", "j0000", "--yes", "--book", bookOf(t, billable(1, true, false)))
	book := bookOf(t, billable(1, true, true))
	bad := line("load.weighed", "2026-03-02T08:00:00Z", `{"load":"l2","product":"lime","net_kg":-1,"method":"bucket","machine":"m1"}`)
	command(t, bad+"\n", "publish", "-", "--book", book) // ends in the rejects, and the publisher is told
	must(t, "", "bill", "j0000", "--dry-run", "--book", book)
	sent := strings.Replace(bad, "{", `{"specversion":"1.0","id":"01JNB3Q2Q3W4E5R6T7Y8V9B0ZZ","source":"/devices/m1/tablet","sequence":"1","dataschema":"urn:hopperbook:load.weighed/1",`, 1)
	command(t, sent+"\n", "publish", "-", "--book", book)
	refused(t, fault.Conflict, "--accept-gaps", "bill", "j0000", "--yes", "--book", book)
	must(t, "", "bill", "j0000", "--yes", "--accept-gaps", "--book", book)
}

// The invoice's words, as another program reads them from the PDF. By hand:
// 0.861 ha x 30.00 + 5.00 = 30.83; 15 % of it are 4.62.
func TestInvoiceText(t *testing.T) {
	pdftotext, err := exec.LookPath("pdftotext")
	if err != nil {
		t.Skip("pdftotext (poppler-utils) is not installed")
	}
	book, out := bookOf(t, billable(1, true, true)), t.TempDir()
	must(t, "", "bill", "j0000", "--yes", "--day", "2026-04-01", "--out", out, "--paper", "letter", "--book", book)
	text, err := exec.Command(pdftotext, "-layout", filepath.Join(out, "2026-0001.pdf"), "-").Output()
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"Invoice 2026-0001", "To pay 35.45 NZD", "=Tarn(1) & Töchter <Ltd>", "Żółć Ферма", "Due 2026-04-11", "Tax, 15 % of", "Calibration in force", "Where the quantities come from", "page 1 of"} {
		if !strings.Contains(strings.Join(strings.Fields(string(text)), " "), want) {
			t.Errorf("%q does not stand in\n%s", want, text)
		}
	}
}

// Two customers share a bill: two documents in every form, and the ledger has both.
func TestTwoInvoicesOfOneBill(t *testing.T) {
	c2 := line("register.customer", "2026-03-02T08:00:00Z", `{"customer":"c2","name":"Tern Trust","country":"NZ"}`)
	book, out := bookOf(t, billable(1, true, true)+c2+"\n"), t.TempDir()
	refused(t, fault.Usage, "--share", "bill", "j0000", "--share", "40", "--yes", "--book", book)
	issued := must(t, "", "bill", "j0000", "--share-with", "c2", "--share", "40", "--yes", "--day", "2026-04-01", "--out", out, "--book", book)
	if !strings.Contains(issued, "Issued on 2026-04-01: Invoice 2026-0001\nIssued on 2026-04-01: Invoice 2026-0002\n") || !strings.Contains(issued, "This is 60 % of every line; the rest stands on invoice 2026-0002.") {
		t.Errorf("issued:\n%s", issued)
	}
	for _, name := range []string{"2026-0001.pdf", "2026-0002.pdf", "2026-0001.xml", "2026-0002.xml", "2026-0002.html", "2026-0002.csv"} {
		must(t, "", "verify", filepath.Join(out, name), "--book", book)
	}
}
