package reconcile

import (
	"encoding/json"
	"math/rand/v2"
	"reflect"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"hopperbook/schemas"
)

func noticeNow() time.Time { return time.Date(2026, 3, 9, 8, 0, 0, 0, time.UTC) }

func called() Drift {
	return Drift{Machine: "spreader-3", Product: "lime", CatchTest: "ct-1", State: "recalibrate", Loads: 14, ChangeLoad: 9, ChangeLoadLow: 8, ChangeLoadHigh: 11, AlarmLoad: 12,
		ChangeRefill: "r9", SizePct: -8.2, SizeLowPct: -9.9, SizeHighPct: -6.5, FlowFactor: 1.0893, GateTry: &GateTry{NowMm: 120, TryMm: 131}}
}

func other() Drift {
	d := called()
	d.Product, d.CatchTest, d.ChangeLoad, d.ChangeLoadLow, d.ChangeLoadHigh, d.AlarmLoad = "urea", "ct-2", 18, 18, 19, 20
	return d
}

func plan(t *testing.T, in NoticeInput) []schemas.NoticeRaised {
	t.Helper()
	if in.Now.IsZero() {
		in.Now = noticeNow()
	}
	out, err := PlanNotices(in)
	if err != nil {
		t.Fatal(err)
	}
	return out
}

func TestPlanNotices(t *testing.T) {
	drift := func(change func(*Drift)) NoticeInput {
		d := called()
		change(&d)
		return NoticeInput{Drifts: []Drift{d}}
	}
	old := noticeNow().Add(-25 * time.Hour)
	unsafe := Finding{Kind: "unsafe_start", Machine: "spreader-1", Event: "E1", At: noticeNow().Add(-time.Hour), Text: "job J1 was started against a failed safety check."}
	for _, r := range []struct {
		name string
		in   NoticeInput
		want []string // a piece of each text
	}{
		{"nothing", NoticeInput{}, nil},
		{"called", drift(func(*Drift) {}), []string{"Recalibrate. With lime since load 9 about 8 % less flows than the calibration says (6.5 to 9.9 %). First try: gate 131 mm in place of 120 mm. Confirm it by a catch test."}},
		{"too much", drift(func(d *Drift) { d.SizePct, d.SizeLowPct, d.SizeHighPct, d.GateTry = 6, 5.5, 6.5, nil }), []string{"about 6 % more flows than the calibration says (5.5 to 6.5 %). Confirm"}},
		{"two at a time", NoticeInput{Drifts: []Drift{called(), other()}}, []string{"Recalibrate. With lime since load 9 about 8 % less flows than the calibration says (6.5 to 9.9 %). First try: gate 131 mm in place of 120 mm. With urea since load 18"}},
		{"watched", drift(func(d *Drift) { d.State = "watch" }), nil},
		{"holding", drift(func(d *Drift) { d.State = "holding" }), nil},
		{"past", drift(func(d *Drift) { d.Superseded = true }), nil},
		{"nobody's", drift(func(d *Drift) { d.Machine = "" }), nil},
		{"unsafe start", NoticeInput{Findings: []Finding{unsafe}}, []string{"Stop the engine before you go near: job J1"}},
		{"unsafe start of long ago", NoticeInput{Findings: []Finding{unsafe}, Now: noticeNow().AddDate(0, 0, 8)}, nil},
		{"another finding", NoticeInput{Findings: []Finding{{Kind: "start_overridden", Machine: "spreader-1", At: noticeNow()}}}, nil},
		{"a gap", NoticeInput{Gaps: []NoticeGap{{"/devices/spreader-1/a", 5, 9, old}, {"/devices/spreader-1/a", 12, 12, old}}}, []string{"missed 6 of this tablet's entries (number 5 and later)"}},
		{"a young gap", NoticeInput{Gaps: []NoticeGap{{"/devices/spreader-1/a", 5, 9, noticeNow().Add(-23 * time.Hour)}}}, nil},
		{"a gap of unknown age", NoticeInput{Gaps: []NoticeGap{{Source: "/devices/spreader-1/a", From: 5, To: 9}}}, nil},
		{"a gap in a file", NoticeInput{Gaps: []NoticeGap{{"/office/x", 5, 9, old}}}, nil},
		{"contradicting", NoticeInput{Contradicting: []schemas.Identity{{Source: "/devices/spreader-2/a", Sequence: 7}, {Source: "/devices/spreader-2/a", Sequence: 7}, {Source: "/office/x", Sequence: 1}}},
			[]string{"Two different entries came under one number (7, 1 such numbers)"}},
	} {
		got := plan(t, r.in)
		if len(got) != len(r.want) {
			t.Errorf("%s: %+v", r.name, got)
			continue
		}
		for i, n := range got {
			if !strings.Contains(n.Text, r.want[i]) {
				t.Errorf("%s: %q, want %q", r.name, n.Text, r.want[i])
			}
			mustBeEvent(t, n)
			// Planned again before it is in the book: the same. After: nothing.
			if again := plan(t, r.in); !reflect.DeepEqual(again, got) {
				t.Errorf("%s: planned again %+v", r.name, again)
			}
			after := r.in
			after.Raised = got
			if again := plan(t, after); len(again) != 0 {
				t.Errorf("%s: raised twice %+v", r.name, again)
			}
		}
	}
}

// mustBeEvent holds a notice against the contract.
func mustBeEvent(t *testing.T, n schemas.NoticeRaised) {
	t.Helper()
	raw, err := schemas.Write(schemas.Identity{Source: "/office/x", Sequence: 1}, "01HZY3Q2Q3W4E5R6T7Y8V9B0NM", schemas.TypeNoticeRaised, noticeNow(), n)
	if err != nil {
		t.Fatal(err)
	}
	if _, bad := schemas.Read(raw); bad != nil {
		t.Errorf("%v in %s", bad, raw)
	}
	if !regexp.MustCompile(`^(recalibrate|check|sync)-[0-9a-f]{24}$`).MatchString(string(n.Notice)) {
		t.Errorf("identifier %s", n.Notice)
	}
}

// The same change is told once, however it is estimated later; another change
// of the same calibration, and another calibration, are told.
func TestOneNoticeAChange(t *testing.T) {
	first := plan(t, NoticeInput{Drifts: []Drift{called()}})
	with := func(change func(*Drift)) int {
		d := called()
		change(&d)
		next := plan(t, NoticeInput{Drifts: []Drift{d}, Raised: first})
		for _, n := range next {
			if n.Notice == first[0].Notice {
				t.Errorf("another notice under the same identifier: %+v", n)
			}
		}
		return len(next)
	}
	for _, r := range []struct {
		name   string
		change func(*Drift)
		want   int
	}{
		{"better known", func(d *Drift) {
			d.ChangeLoad, d.ChangeLoadLow, d.ChangeRefill, d.SizePct, d.Loads = 10, 9, "r10", -8.4, 20
		}, 0},
		{"within the alarm", func(d *Drift) { d.ChangeLoad, d.ChangeLoadLow = 13, 12 }, 0},
		{"another change", func(d *Drift) { d.ChangeLoad, d.ChangeLoadLow, d.ChangeLoadHigh, d.AlarmLoad = 20, 18, 21, 22 }, 1},
		{"another catch test", func(d *Drift) { d.CatchTest = "ct-2" }, 1},
		{"another product", func(d *Drift) { d.Product = "urea" }, 1},
		{"another machine", func(d *Drift) { d.Machine = "spreader-4" }, 1},
	} {
		if got := with(r.change); got != r.want {
			t.Errorf("%s: %d notices, want %d", r.name, got, r.want)
		}
	}
	foreign := schemas.NoticeRaised{Notice: "n1", Machine: "spreader-3", Kind: NoticeRecalibrate, Evidence: json.RawMessage(`"by hand"`)}
	if got := plan(t, NoticeInput{Drifts: []Drift{called()}, Raised: []schemas.NoticeRaised{foreign}}); len(got) != 1 {
		t.Errorf("beside a notice of another program: %+v", got)
	}
}

// A gap that is filled bit by bit is one notice; a new one beside it another.
func TestOneNoticeAGap(t *testing.T) {
	old := noticeNow().Add(-48 * time.Hour)
	first := plan(t, NoticeInput{Gaps: []NoticeGap{{"/devices/sp-1/a", 5, 9, old}}})
	if got := plan(t, NoticeInput{Raised: first, Gaps: []NoticeGap{{"/devices/sp-1/a", 7, 8, old}}}); len(got) != 0 {
		t.Errorf("partly filled: %+v", got)
	}
	got := plan(t, NoticeInput{Raised: first, Gaps: []NoticeGap{{"/devices/sp-1/a", 7, 8, old}, {"/devices/sp-1/a", 20, 20, old}}})
	if len(got) != 1 || got[0].Notice == first[0].Notice || !strings.Contains(string(got[0].Evidence), `"missing":[[20,20]]`) {
		t.Errorf("another gap: %+v", got)
	}
	many := NoticeInput{}
	for i := range 200 {
		at := int64(10 * i)
		many.Gaps = append(many.Gaps, NoticeGap{"/devices/sp-1/a", at + 1, at + 2, old})
		many.Contradicting = append(many.Contradicting, schemas.Identity{Source: "/devices/sp-1/a", Sequence: at + 5})
	}
	for _, n := range plan(t, many) {
		mustBeEvent(t, n)
	}
}

// The order in which things stand in the input says nothing.
func TestNoticesWhateverTheOrder(t *testing.T) {
	old := noticeNow().Add(-48 * time.Hour)
	var in NoticeInput
	for i := range 9 {
		m := schemas.MachineID("sp-" + string(rune('1'+i)))
		d := called()
		d.Machine = m
		in.Drifts = append(in.Drifts, d)
		in.Findings = append(in.Findings, Finding{Kind: "unsafe_start", Machine: m, Event: schemas.EventID(m), At: noticeNow(), Text: "x"})
		in.Gaps = append(in.Gaps, NoticeGap{schemas.DeviceSource(schemas.DeviceID(m), "a"), 2, 3, old}, NoticeGap{schemas.DeviceSource(schemas.DeviceID(m), "a"), 7, 7, old})
		in.Contradicting = append(in.Contradicting, schemas.Identity{Source: schemas.DeviceSource(schemas.DeviceID(m), "a"), Sequence: int64(i + 1)})
	}
	want := plan(t, in)
	if len(want) != 36 {
		t.Errorf("%d notices", len(want))
	}
	rng := rand.New(rand.NewPCG(6, 6))
	for range 20 {
		rng.Shuffle(len(in.Drifts), func(i, j int) { in.Drifts[i], in.Drifts[j] = in.Drifts[j], in.Drifts[i] })
		rng.Shuffle(len(in.Gaps), func(i, j int) { in.Gaps[i], in.Gaps[j] = in.Gaps[j], in.Gaps[i] })
		rng.Shuffle(len(in.Findings), func(i, j int) { in.Findings[i], in.Findings[j] = in.Findings[j], in.Findings[i] })
		slices.Reverse(in.Contradicting)
		if got := plan(t, in); !reflect.DeepEqual(got, want) {
			t.Fatal("another order, other notices")
		}
	}
}
