package coverage

import (
	"bytes"
	"encoding/json"
	"math"
	"math/rand/v2"
	"os/exec"
	"testing"

	"hopperbook/reconcile/plane"
)

// geosJob and geosAnswer are the lines to and from testdata/outside/geos_union.py.
type geosJob struct {
	Rings    [][][2]float64 `json:"rings"`
	Boundary [][][2]float64 `json:"boundary"`
}

type geosAnswer struct{ Area, Inside float64 }

// geosTiming is a line to testdata/outside/geos_time.py.
type geosTiming struct {
	Path   [][2]float64 `json:"path"`
	WidthM float64      `json:"width"`
}

// askPython sends jobs, a line each, to a script of testdata/outside and hands on its
// answers. It skips without a Python that has shapely.
func askPython[J any](t testing.TB, script string, jobs []J, take func(answer []byte) error) {
	t.Helper()
	python := ""
	for _, p := range []string{"/usr/bin/python3", "python3"} {
		if exec.Command(p, "-c", "import shapely").Run() == nil {
			python = p
			break
		}
	}
	if python == "" {
		t.Skip("no python3 with shapely here (Debian: python3-shapely): the comparison with GEOS is left out")
	}
	var in, out, stderr bytes.Buffer
	enc := json.NewEncoder(&in)
	for _, j := range jobs {
		if err := enc.Encode(j); err != nil {
			t.Fatal(err)
		}
	}
	cmd := exec.Command(python, "../../testdata/outside/"+script)
	cmd.Stdin, cmd.Stdout, cmd.Stderr = &in, &out, &stderr
	if err := cmd.Run(); err != nil {
		t.Fatalf("%v\n%s", err, stderr.String())
	}
	answers := bytes.Split(bytes.TrimSpace(out.Bytes()), []byte("\n"))
	if len(answers) != len(jobs) {
		t.Fatalf("%d answers to %d jobs", len(answers), len(jobs))
	}
	for _, a := range answers {
		if err := take(a); err != nil {
			t.Fatal(err)
		}
	}
}

// geos asks GEOS, in one process for all jobs.
func geos(t testing.TB, jobs []geosJob) (answers []geosAnswer) {
	askPython(t, "geos_union.py", jobs, func(line []byte) error {
		var a geosAnswer
		defer func() { answers = append(answers, a) }()
		return json.Unmarshal(line, &a)
	})
	return answers
}

func pairs(r plane.Ring) (out [][2]float64) {
	for _, p := range r {
		out = append(out, [2]float64{p.XM, p.YM})
	}
	return out
}

// randomWork is a seeded field: passes in a random direction with a headland around, random width, spacing, step
// and noise, spreading off now and then, a bout width that may change.
func randomWork(seed uint64) ([]Segment, *plane.Polygon) {
	rng := rand.New(rand.NewPCG(seed, 11))
	width := 8 + 16*rng.Float64()
	a, b := width*(4+3*rng.Float64()), 80+80*rng.Float64()
	step, noise := 1+3*rng.Float64(), []float64{0, 0.02, 0.02, 0.3}[seed%4]
	sin, cos := math.Sincos(2 * math.Pi * rng.Float64())
	corner := func(x, y float64) xy { return xy{x*cos - y*sin, x*sin + y*cos} }
	h := width / 2
	points := []xy{corner(h, h), corner(a-h, h), corner(a-h, b-h), corner(h, b-h), corner(h, h)}
	for i, x := 0, 1.5*width; x < a-width; i, x = i+1, x+width*(0.9+0.12*rng.Float64()) {
		y0, y1 := width*(0.9+0.2*rng.Float64()), b-width*(0.9+0.2*rng.Float64())
		if i%2 == 1 {
			y0, y1 = y1, y0
		}
		points = append(points, corner(x, y0), corner(x, y1))
	}
	var out []Segment
	driven, line := 0.0, 0
	var last xy
	var wx, wy float64
	for i := 1; i < len(points); i++ {
		p, q := points[i-1], points[i]
		n := int(math.Ceil(math.Hypot(q[0]-p[0], q[1]-p[1]) / step))
		for k := range n + 1 {
			f := float64(k) / float64(n)
			// Receivers wander slowly: noise is correlated over some 30 fixes, with a little that is not.
			wx, wy = 0.97*wx+0.24*noise*rng.NormFloat64(), 0.97*wy+0.24*noise*rng.NormFloat64()
			at := xy{p[0] + f*(q[0]-p[0]) + wx + noise/20*rng.NormFloat64(), p[1] + f*(q[1]-p[1]) + wy + noise/20*rng.NormFloat64()}
			if k > 0 && rng.IntN(60) > 0 {
				s := Segment{Line: line, StartM: driven, FromXM: last[0], FromYM: last[1], ToXM: at[0], ToYM: at[1], WidthM: width}
				driven += s.lengthM()
				out = append(out, s)
			} else if k > 0 && rng.IntN(8) == 0 {
				width *= 0.7 + 0.5*rng.Float64()
				width = min(24, max(8, width))
			}
			last = at
		}
		line, driven = line+1, 0
	}
	var fence plane.Ring
	for _, p := range [][2]float64{{0, 0}, {a, 3}, {a - 4, b}, {a / 2, b - 9}, {2, b - 1}} {
		c := corner(p[0], p[1])
		fence = append(fence, plane.Point{XM: c[0], YM: c[1]})
	}
	return out, &plane.Polygon{Parts: []plane.Part{{Outer: fence}}}
}

// The union of the same swaths by GEOS, an outside implementation, on 200
// seeded fields: at most 0.01 % apart, or half a square metre on the small ones.
func TestAgainstGEOS(t *testing.T) {
	if raceEnabled {
		t.Skip("run without the race detector by go test ./reconcile/coverage, as ./test does")
	}
	const fields = 200
	var jobs []geosJob
	for seed := range uint64(fields) {
		segments, fence := randomWork(seed)
		j := geosJob{Boundary: [][][2]float64{pairs(fence.Parts[0].Outer)}}
		for _, r := range outlines(segments) {
			j.Rings = append(j.Rings, pairs(r))
		}
		jobs = append(jobs, j)
	}
	worst, beyond := 0.0, 0
	for seed, a := range geos(t, jobs) {
		segments, fence := randomWork(uint64(seed))
		r, in := measure(t, segments, nil), measure(t, segments, fence)
		off, offIn := math.Abs(r.CoveredM2-a.Area), math.Abs(in.CoveredM2-a.Inside)
		worst = max(worst, off/a.Area, offIn/a.Inside)
		if off > r.ErrorM2 {
			beyond++
		}
		if off > max(1e-4*a.Area, 0.5) || offIn > max(1e-4*a.Inside, 0.5) {
			t.Errorf("field %d: covered %.3f, GEOS %.3f; inside %.3f, GEOS %.3f; estimate %.3f", seed, r.CoveredM2, a.Area, in.CoveredM2, a.Inside, r.ErrorM2)
		}
	}
	if beyond > fields/20 {
		t.Errorf("%d of %d fields are further off than their error estimate", beyond, fields)
	}
	t.Logf("largest difference of %d fields: %.2g; %d beyond their estimate", fields, worst, beyond)
}
