package track

// minOutsideM is the shortest stretch outside every field that is worth a
// finding: the ends of lines and a boundary line driven by hand leave shorter
// ones. Common practice, no source.
const minOutsideM = 10

// OutsideFields finds where the machine spread outside every field, in pieces
// that Ground.Split made: one finding for each stretch driven without a break, shorter
// ones than 10 m left out, with the metres in Detail. O(n).
func OutsideFields(pieces []Segment) []Finding {
	var out []Finding
	var now Finding
	var last Segment
	end := func() {
		if now.Detail >= minOutsideM {
			out = append(out, now)
		}
		now = Finding{}
	}
	for _, s := range pieces {
		if !s.Spreading || s.Field != "" {
			continue
		}
		if now.Count > 0 && (last.Line != s.Line || last.StartM+last.LengthM < s.StartM-1e-6) {
			end()
		}
		if now.Count == 0 {
			now = Finding{Kind: Outside, FromMilli: s.FromMilli}
		}
		now.ToMilli, last = s.ToMilli, s
		now.Count++
		now.Detail += s.LengthM
		now.NominalKg += s.NominalKg()
	}
	end()
	return out
}
