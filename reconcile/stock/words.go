package stock

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"hopperbook/schemas/unit"
)

// reading is a rival read as something that happens in the trade.
type reading struct {
	suspect  Suspect
	rank     int    // less is likelier: what the figures can't tell apart, size and docket numbers may
	sentence string // what and how much, without a full stop
}

// choose prefers, among what the figures can hardly tell apart, the likeliest
// in the trade; among equally likely ones the largest test.
func (b *builder) choose(rivals []Rival) (best int) {
	for i, r := range rivals {
		rank, least := b.read(r).rank, b.read(rivals[best]).rank
		if rank < least || rank == least && r.Z > rivals[best].Z*(1+tie) {
			best = i
		}
	}
	return best
}

// suspect puts a gross error into words, and its rivals as what else it may be,
// the likelier first.
func (b *builder) suspect(g Gross) (s Suspect) {
	var others []reading
	for _, r := range g.Rivals {
		if r.Suspect == g.Suspect {
			r.Size, r.SizeSd = g.Size, g.SizeSd
		}
		read := b.read(r)
		if r.Suspect != g.Suspect {
			others = append(others, read)
			continue
		}
		s = read.suspect
		s.Z, s.Critical, s.Text = rounded(g.Z, 4), rounded(g.Critical, 4), read.sentence+"."
	}
	slices.SortStableFunc(others, func(a, c reading) int { return cmp.Compare(a.rank, c.rank) })
	for _, r := range others {
		s.OrElse = append(s.OrElse, r.sentence)
	}
	return s
}

func (b *builder) read(r Rival) reading {
	o := b.origins[r.Suspect]
	var out reading
	out.suspect.Kind = o.kind
	kg := 1.0 // per unit of the size
	if o.kind == ScaleOff {
		kg = b.scaleKg(o)
	}
	size, sd := kg*math.Abs(r.Size), kg*r.SizeSd
	out.suspect.MassKg, out.suspect.LowKg, out.suspect.HighKg = grams(size), grams(max(0, size-normal95*sd)), grams(size+normal95*sd)
	switch o.kind {
	case MissingDocket:
		b.readDockets(&out, o, r.Size < 0)
	case LostLoad:
		b.readLoads(&out, o, r.Size < 0)
	case ScaleOff:
		b.readScale(&out, o, r)
	case CalibrationOff:
		b.readCalibration(&out, o, r)
	default:
		b.readSurvey(&out, o, r.Size > 0)
	}
	return out
}

func (b *builder) scaleKg(o origin) (kg float64) {
	for _, c := range b.cells {
		if c.scale == o.scale {
			kg += c.kg
		}
	}
	return kg
}

// readDockets: near the mass of one docket or of a few, above all with a
// number missing, a docket is the likeliest reading.
func (b *builder) readDockets(out *reading, o origin, missing bool) {
	p, s := &b.periods[o.period], &out.suspect
	s.Stockpile, s.Product = p.pile.stockpile, p.pile.product
	usual := b.usualDocket(p)
	n := pieces(*s, usual)
	out.rank = 7
	if n > 0 {
		out.rank = 1
	}
	if !missing {
		s.Kind = DocketTooMany
		out.rank++
		out.sentence = fmt.Sprintf("%s (%s): %s less came than the dockets say, or left without being weighed; look for a docket booked twice or on the wrong stockpile", s.Stockpile, s.Product, massWords(*s))
		return
	}
	s.Dockets = within(b.gaps, p)
	out.sentence = fmt.Sprintf("%s (%s): %s more came than the dockets say", s.Stockpile, s.Product, massWords(*s))
	if n > 0 {
		out.sentence += fmt.Sprintf("; %s missing (usually %s each)", countWords(n, "docket"), tonneWords(usual))
	}
	if n == 0 {
		s.Dockets = nil
	}
	if len(s.Dockets) > 0 {
		out.rank = 0
		out.sentence += "; not in the book: " + joined(s.Dockets)
	}
}

// usualDocket is the mean net mass of a period's dockets, else of all.
func (b *builder) usualDocket(p *period) float64 {
	list := p.dockets
	if len(list) == 0 {
		list = b.in.Dockets
	}
	sum := 0.0
	for _, d := range list {
		sum += d.NetKg
	}
	return sum / float64(max(1, len(list)))
}

// most pieces of a kind that a mass is explained by, and how much one differs
// from the usual one, as a share: common practice, no source.
const (
	mostPieces = 3
	pieceShare = 0.15
)

// pieces is how many pieces of a usual mass a suspect mass may be; 0: none, or
// it is too uncertain to count them.
func pieces(s Suspect, usualKg float64) int {
	n := math.Round(s.MassKg / usualKg)
	if !(usualKg > 0 && n >= 1 && n <= mostPieces && s.HighKg-s.MassKg < usualKg/2) {
		return 0
	}
	room := pieceShare * usualKg * math.Sqrt(n)
	if s.LowKg-room > n*usualKg || s.HighKg+room < n*usualKg {
		return 0
	}
	return int(n)
}

func (b *builder) readLoads(out *reading, o origin, lost bool) {
	c, s := b.cells[o.cell], &out.suspect
	where := "no stockpile"
	if c.period >= 0 {
		p := b.periods[c.period]
		s.Stockpile, s.Product = p.pile.stockpile, p.pile.product
		where = string(p.pile.stockpile)
	}
	into := ""
	if c.spread >= 0 {
		s.Machine, s.Product = b.in.Spreads[c.spread].Machine, b.in.Spreads[c.spread].Product
		into = " for " + string(s.Machine)
	}
	usual := c.kg / float64(c.loads)
	n := pieces(*s, usual)
	out.rank = 7
	if n > 0 && lost {
		out.rank = 3
	}
	if !lost {
		s.Kind = LoadTooMany
		out.sentence = fmt.Sprintf("%s (%s)%s: %s less was loaded than weighed; look for loads booked twice or on the wrong stockpile or product", where, s.Product, into, massWords(*s))
		return
	}
	out.sentence = fmt.Sprintf("%s (%s)%s: %s more was loaded than weighed", where, s.Product, into, massWords(*s))
	if n > 0 {
		out.sentence += fmt.Sprintf("; %s lost (usually %s each)", countWords(n, "load"), tonneWords(usual))
	}
}

// plausibleShare is the largest error of a scale or a calibration that is
// likelier than something lost: common practice, no source.
const plausibleShare = 0.2

func (b *builder) readScale(out *reading, o origin, r Rival) {
	s := &out.suspect
	s.Scale = o.scale
	s.SharePct = rounded(100*r.Size, 4)
	out.rank = 4
	if math.Abs(r.Size) > plausibleShare {
		out.rank = 8
	}
	much := "much"
	if r.Size < 0 {
		much = "little"
	}
	out.sentence = fmt.Sprintf("scale %s shows %s too %s, %s in all: check-weigh it", cmp.Or(string(o.scale), "without a name"), shareWords(r.Size, r.SizeSd), much, tonneWords(s.MassKg))
}

func (b *builder) readCalibration(out *reading, o origin, r Rival) {
	s, run := &out.suspect, b.in.Spreads[o.spread]
	s.Machine, s.Product = run.Machine, run.Product
	share, sd := -r.Size/run.NominalKg, r.SizeSd/run.NominalKg
	s.SharePct = rounded(100*share, 4)
	out.rank = 5
	if math.Abs(share) > plausibleShare {
		out.rank = 8
	}
	word := "more"
	if share < 0 {
		word = "less"
	}
	out.sentence = fmt.Sprintf("%s spread %s %s of %s than it was set to, %s in all: look at hopperbook drift", run.Machine, shareWords(share, sd), word, run.Product, tonneWords(s.MassKg))
}

func (b *builder) readSurvey(out *reading, o origin, high bool) {
	s, survey := &out.suspect, o.survey
	s.Stockpile, s.Product = survey.Stockpile, survey.Product
	out.rank = 6
	much := "little"
	if high {
		much = "much"
	}
	out.sentence = fmt.Sprintf("the survey of %s (%s) on %s says %s too %s: survey it again", survey.Stockpile, survey.Product, survey.Time.UTC().Format(time.DateOnly), massWords(*s), much)
}

func tonneWords(kg float64) string { return fmt.Sprintf("%.1f t", kg/unit.KgPerTonne) }

func massWords(s Suspect) string {
	return fmt.Sprintf("about %s (95 %%: %.1f to %.1f t)", tonneWords(s.MassKg), s.LowKg/unit.KgPerTonne, s.HighKg/unit.KgPerTonne)
}

// shareWords is the size of a share, whose sign the words around it tell.
func shareWords(share, sd float64) string {
	size := math.Abs(share)
	return fmt.Sprintf("%.1f %% (95 %%: %.1f to %.1f %%)", 100*size, 100*max(0, size-normal95*sd), 100*(size+normal95*sd))
}

func countWords(n int, what string) string {
	if n == 1 {
		return "a " + what + " is"
	}
	return fmt.Sprintf("%d %ss are", n, what)
}

func joined[T ~string](ids []T) string {
	const most = 5
	words := make([]string, 0, most)
	for _, id := range ids[:min(most, len(ids))] {
		words = append(words, string(id))
	}
	if len(ids) > most {
		words = append(words, fmt.Sprintf("and %d more", len(ids)-most))
	}
	return strings.Join(words, ", ")
}
