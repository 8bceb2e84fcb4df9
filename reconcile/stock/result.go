package stock

import (
	"math"
	"time"

	"hopperbook/schemas"
)

// Result is the stockpiles reconciled. Every list is sorted.
type Result struct {
	Rows     []Row     `json:"rows"` // by stockpile, product, time
	Test     Test      `json:"test"`
	After    Test      `json:"after"` // with the suspects taken out
	Suspects []Suspect `json:"suspects"`
	Findings []Finding `json:"findings"`
}

// Row is one stockpile and product between two surveys: opening + docketed -
// loaded = closing, and of loaded what was spread.
type Row struct {
	Stockpile   schemas.StockpileID `json:"stockpile"`
	Product     schemas.ProductID   `json:"product"`
	From        time.Time           `json:"from,omitzero"` // survey it opens with; left out where there is none
	To          time.Time           `json:"to,omitzero"`   // survey it closes with, not included
	Dockets     int                 `json:"dockets"`
	Loads       int                 `json:"loads"`
	Opening     Amount              `json:"opening"`
	Docketed    Amount              `json:"docketed"`
	Loaded      Amount              `json:"loaded"`
	Spread      Amount              `json:"spread"`
	Closing     Amount              `json:"closing"`
	Checked     bool                `json:"checked"`      // both ends were surveyed
	ImbalanceKg float64             `json:"imbalance_kg"` // opening + docketed - loaded - closing as measured; below 0: more is there than can be
	ImbalanceSd float64             `json:"imbalance_sd_kg"`
	ChiSquare   float64             `json:"chi_square"` // of the imbalance alone, 1 degree of freedom
	Passes      bool                `json:"passes"`     // that test
}

// Amount is a mass as measured and as reconciled.
type Amount struct {
	Measured   bool    `json:"measured"`
	MeasuredKg float64 `json:"measured_kg"`
	MeasuredSd float64 `json:"measured_sd_kg"`
	Known      bool    `json:"known"` // reconciled: measured, or what the balances leave
	Kg         float64 `json:"kg"`
	SdKg       float64 `json:"sd_kg"`
	LowKg      float64 `json:"low_kg"` // 95 %
	HighKg     float64 `json:"high_kg"`
}

// Test is the global chi-square test.
type Test struct {
	ChiSquare float64 `json:"chi_square"`
	Dof       int     `json:"dof"`
	Critical  float64 `json:"critical"`
	P         float64 `json:"p"`
	Passes    bool    `json:"passes"`
}

// Kinds of suspects.
const (
	MissingDocket  = "missing_docket"  // more product came than the dockets say
	DocketTooMany  = "docket_too_many" // less product came than the dockets say, or product left unweighed
	LostLoad       = "lost_load"       // more product left than the loads say
	LoadTooMany    = "load_too_many"   // less product left than the loads say
	ScaleOff       = "scale_off"       // a loader's scale reads wrong
	CalibrationOff = "calibration_off" // a machine spreads another mass than it is set to
	SurveyOff      = "survey_off"      // a survey is wrong
)

// Suspect is the likeliest explanation of a gross error, and what explains the
// figures as well.
type Suspect struct {
	Kind      string              `json:"kind"`
	Stockpile schemas.StockpileID `json:"stockpile,omitempty"`
	Product   schemas.ProductID   `json:"product,omitempty"`
	Machine   schemas.MachineID   `json:"machine,omitempty"`
	Scale     schemas.ScaleID     `json:"scale,omitempty"`
	MassKg    float64             `json:"mass_kg"` // how much is missing or too much; never negative
	LowKg     float64             `json:"low_kg"`  // 95 %
	HighKg    float64             `json:"high_kg"`
	SharePct  float64             `json:"share_pct"` // scale: of the weight it shows, too much; calibration: spread more than set; 0 otherwise
	Z         float64             `json:"z"`
	Critical  float64             `json:"critical"`
	Dockets   []schemas.DocketID  `json:"dockets,omitempty"` // numbers not in the book that fit
	Text      string              `json:"text"`
	OrElse    []string            `json:"or_else"` // kinds of suspects that these figures can't tell from it
}

// Findings of a book.
const (
	NoSurvey      Kind = "no_survey"      // a stockpile without two surveys can't be checked
	DocketGap     Kind = "docket_gap"     // numbers between those in the book
	DocketTwice   Kind = "docket_twice"   // one number twice; the first counts
	NoUncertainty Kind = "no_uncertainty" // stated as 0; the default is used
	NoStockpile   Kind = "no_stockpile"   // a load that names none, and its product has none or several
	NegativeStock Kind = "negative_stock" // more left than was ever there
)

func amount(measured bool, kg, sd float64, e Estimate) Amount {
	a := Amount{Measured: measured, Known: e.Known, Kg: grams(e.Value), SdKg: grams(e.Sd), LowKg: grams(e.Value - normal95*e.Sd), HighKg: grams(e.Value + normal95*e.Sd)}
	if measured {
		a.MeasuredKg, a.MeasuredSd = grams(kg), grams(sd)
	}
	return a
}

func testOf(f Fit) Test {
	return Test{ChiSquare: rounded(f.ChiSquare, 4), Dof: f.Dof, Critical: rounded(f.Critical, 4), P: rounded(f.P, 6), Passes: f.Passes()}
}

// normal95 makes a two-sided 95 % interval of a standard uncertainty.
const normal95 = 1.959963984540054

func grams(kg float64) float64 { return rounded(kg, 3) }

// rounded keeps a number's decimals; -0 becomes 0.
func rounded(v float64, decimals int) float64 {
	p := math.Pow10(decimals)
	if r := math.Round(v*p) / p; r != 0 {
		return r
	}
	return 0
}
