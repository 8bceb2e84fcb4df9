package reports

import "time"

// Sheet is the words, tables, charts and pictures of a document, ready to be
// drawn (render.SheetPDF, render.SheetHTML).
type Sheet struct {
	Title        string
	Subject      string   // under the title
	Status       string   // in a box beside the title; "": none
	Against      []string // what stands against it
	AgainstTitle string
	Parties      [][]string // blocks of lines side by side: who sends it, who gets it
	Facts        [][2]string
	Charts       []Chart
	Pictures     []Picture
	Tables       []Table
	Remarks      []string
	Cautions     []string
	Signatures   []string
	Appendix     *Appendix // on a page of its own; nil: none
	Foot         string
	Mark         string    // what lets a file be verified; "": none
	Made         time.Time // the date that stands for the document's own
}

// Appendix is what a document rests on.
type Appendix struct {
	Title    string
	Tables   []Table
	Pictures []Picture
	Notes    []string
}

// Picture is a map, with its cells, and the words that stand for it.
type Picture struct {
	Map     MapAnswer
	Words   string
	Caption string
}
