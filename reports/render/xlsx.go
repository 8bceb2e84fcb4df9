package render

import (
	"archive/zip"
	"bytes"
	"cmp"
	"io"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"github.com/xuri/excelize/v2"

	"hopperbook/reports"
	"hopperbook/schemas/fault"
)

// XLSX writes tables as a workbook, a sheet each, named by names: column titles
// for people in the first row, which stays in view (a column without one shows its key; CSV has
// the keys), numbers as numbers, everything else as text (a cell of
// text is never a formula). Notes stand below the rows. Refused: not as many
// names as tables.
func XLSX(w io.Writer, names []string, tables []reports.Table) error {
	if len(names) != len(tables) || len(names) == 0 {
		return fault.Newf("write the workbook", fault.Internal, "sheets and their names do not match", "")
	}
	f := excelize.NewFile()
	defer f.Close()
	for i, t := range tables {
		if err := workSheet(f, names[i], t); err != nil {
			return fault.New("write the workbook", fault.Internal, err, "")
		}
	}
	if err := f.DeleteSheet("Sheet1"); err != nil {
		return fault.New("write the workbook", fault.Internal, err, "")
	}
	var b bytes.Buffer
	if err := f.Write(&b); err != nil {
		return fault.New("write the workbook", fault.Internal, err, "")
	}
	return fault.Wrap("write the workbook", repacked(w, b.Bytes()))
}

// repacked writes the parts of a workbook in the order of their names: the
// library's order is that of a map, and the same tables must give the same
// bytes.
func repacked(w io.Writer, book []byte) error {
	in, err := zip.NewReader(bytes.NewReader(book), int64(len(book)))
	if err != nil {
		return err
	}
	slices.SortFunc(in.File, func(a, b *zip.File) int { return strings.Compare(a.Name, b.Name) })
	out := zip.NewWriter(w)
	for _, part := range in.File {
		r, err := part.Open()
		if err != nil {
			return err
		}
		to, err := out.Create(part.Name)
		if err == nil {
			_, err = io.Copy(to, r)
		}
		if err := cmp.Or(err, r.Close()); err != nil {
			return err
		}
	}
	return out.Close()
}

func workSheet(f *excelize.File, name string, t reports.Table) error {
	if _, err := f.NewSheet(name); err != nil {
		return err
	}
	out, err := f.NewStreamWriter(name)
	if err != nil {
		return err
	}
	head, err := f.NewStyle(&excelize.Style{Font: &excelize.Font{Bold: true}, Alignment: &excelize.Alignment{WrapText: true, Vertical: "top"}, Border: []excelize.Border{{Type: "bottom", Color: "000000", Style: 1}}})
	if err != nil {
		return err
	}
	if err := layOut(out, t); err != nil {
		return err
	}
	line := 0
	row := func(cells []any) error {
		line++
		return out.SetRow("A"+strconv.Itoa(line), cells)
	}
	titles := make([]any, len(t.Columns))
	for i, c := range t.Columns {
		titles[i] = excelize.Cell{StyleID: head, Value: legal(cmp.Or(c.Title, c.Key))}
	}
	if err := row(titles); err != nil {
		return err
	}
	for _, r := range t.Rows {
		cells := make([]any, len(r))
		for i, cell := range r {
			cells[i] = xlsxCell(cell, t.Columns[i].Right)
		}
		if err := row(cells); err != nil {
			return err
		}
	}
	for _, note := range t.Notes {
		if err := row([]any{legal(note)}); err != nil {
			return err
		}
	}
	return out.Flush()
}

// Widths of columns, in letters.
const (
	narrowLetters = 10
	wideLetters   = 44
)

// layOut sets the widths by what stands in the columns, and keeps the titles
// in view.
func layOut(out *excelize.StreamWriter, t reports.Table) error {
	for i := range t.Columns {
		width := narrowLetters
		for _, r := range t.Rows {
			width = max(width, utf8.RuneCountInString(r[i])+2)
		}
		if err := out.SetColWidth(i+1, i+1, float64(min(width, wideLetters))); err != nil {
			return err
		}
	}
	return out.SetPanes(&excelize.Panes{Freeze: true, YSplit: 1, TopLeftCell: "A2", ActivePane: "bottomLeft"})
}

// xlsxCell is a number where a number stands in a column of numbers, nothing
// for "-", else text.
func xlsxCell(cell string, right bool) any {
	if cell == "-" {
		return nil
	}
	if right && isNumber(cell) {
		if v, err := strconv.ParseFloat(cell, 64); err == nil {
			return v
		}
	}
	return legal(cell)
}

// legal leaves out what XML cannot hold, and guards text that would run as a
// formula where somebody saves the sheet as CSV.
func legal(text string) string {
	text = strings.Map(func(r rune) rune {
		if r < ' ' && r != '\n' && r != '\t' || r == 0xFFFE || r == 0xFFFF {
			return -1
		}
		return r
	}, text)
	return notFormula(text)
}
