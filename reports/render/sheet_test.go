package render

import (
	"bytes"
	"context"
	"fmt"
	"html"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"hopperbook/reports"
)

// A page is read on a phone: nothing but tables is wider than the screen, and
// those scroll by themselves. A browser is asked, where one is installed.
func TestASheetFitsANarrowScreen(t *testing.T) {
	browser, err := exec.LookPath("chromium")
	if err != nil {
		t.Skip("chromium is not installed; nobody measures the page")
	}
	wide := reports.Table{Caption: "A table with a long name that goes on", Columns: make([]reports.Column, 9), Notes: []string{strings.Repeat("0123456789abcdef", 8)}}
	var row []string
	for i := range wide.Columns {
		wide.Columns[i] = reports.Column{Key: fmt.Sprint(i), Title: "Title of many words", Right: i%2 == 1}
		row = append(row, "some-identifier-"+fmt.Sprint(i))
	}
	few := wide
	few.Columns, few.Rows = wide.Columns[:6], [][]string{row[:6]}
	wide.Rows = [][]string{row}
	chart := reports.Picture{Map: answer(t, -46, 170, 5), Caption: "a map", Words: "a map"}
	s := reports.Sheet{Title: "Season records", Subject: "A farm of an invented name that is rather long, season 2025/26", Status: "CANNOT BE SHOWN TO BE UNDER", AgainstTitle: "Read this first",
		Against: []string{"see https://example.invalid/" + strings.Repeat("path", 30)}, Facts: [][2]string{{"Certificate holder", strings.Repeat("f", 64)}}, Parties: [][]string{{"From", "Tussock & Tarn Spreading", "office@" + strings.Repeat("long", 12) + ".invalid"}, {"To", "A farm"}},
		Tables: []reports.Table{few, wide}, Pictures: []reports.Picture{chart}, Charts: []reports.Chart{{}, {}}, Remarks: []string{strings.Repeat("x", 90)}, Signatures: []string{"For the contractor (name, date)", "For the farm (name, date)"},
		Appendix: &reports.Appendix{Title: "Appendix with a long title", Tables: []reports.Table{wide}, Pictures: []reports.Picture{chart}, Notes: []string{strings.Repeat("y", 90)}}, Foot: "SHA-256 " + strings.Repeat("0123456789abcdef", 4)}
	var page bytes.Buffer
	if err := SheetHTML(&page, s); err != nil {
		t.Fatal(err)
	}
	for _, width := range []int{320, 360, 400} {
		if got := scrollWidth(t, browser, page.String(), width); got != fmt.Sprint(width) {
			t.Errorf("on a screen of %d px the page is %s px wide", width, got)
		}
	}
}

// scrollWidth has a browser lay a page out in a frame of a width.
func scrollWidth(t *testing.T, browser, page string, width int) string {
	t.Helper()
	frame := fmt.Sprintf(`<!DOCTYPE html><iframe id="f" style="border:0" width="%d" height="700" srcdoc="%s"></iframe><p id="w"></p>
<script>f.onload=()=>{w.textContent="width "+f.contentDocument.documentElement.scrollWidth}</script>`, width, html.EscapeString(page))
	name := filepath.Join(t.TempDir(), "frame.html")
	if err := os.WriteFile(name, []byte(frame), 0o600); err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithTimeout(t.Context(), 2*time.Minute)
	defer stop()
	out, err := exec.CommandContext(ctx, browser, "--headless", "--no-sandbox", "--disable-gpu", "--hide-scrollbars", "--user-data-dir="+t.TempDir(), "--dump-dom", "file://"+name).Output()
	if err != nil {
		t.Skipf("%s does not run here: %v", browser, err)
	}
	found := regexp.MustCompile(`<p id="w">width (\d+)`).FindSubmatch(out)
	if found == nil {
		t.Fatalf("the browser measured nothing:\n%.300s", out)
	}
	return string(found[1])
}

// A table of notes alone, like "no limit was held against it", draws no heads
// and no line over nothing.
func TestATableOfNotesAlone(t *testing.T) {
	s := reports.Sheet{Title: "T", Tables: []reports.Table{{Caption: "Limits", Notes: []string{"No limit was held against these fields."}}}}
	bare := s
	bare.Tables = nil
	lines := func(s reports.Sheet) int {
		var b bytes.Buffer
		p, err := newPDF("A4", s)
		if err != nil {
			t.Fatal(err)
		}
		p.SetCompression(false)
		for _, table := range s.Tables {
			p.table(table)
		}
		if err := p.Output(&b); err != nil {
			t.Fatal(err)
		}
		return bytes.Count(b.Bytes(), []byte(" l S"))
	}
	if with, without := lines(s), lines(bare); with != without {
		t.Errorf("%d lines are drawn, %d without the table", with, without)
	}
	var page bytes.Buffer
	if err := SheetHTML(&page, s); err != nil {
		t.Fatal(err)
	}
	if strings.Contains(page.String(), "<thead") || !strings.Contains(page.String(), "No limit was held") {
		t.Error("the page draws a table over nothing, or no note")
	}
}
