package drift

import (
	"fmt"
	"os/exec"
	"strings"
	"testing"
)

// TestRunLengthsBesideR: the integral equation beside an independent code, the
// package spc of R (Debian: r-cran-spc), over a grid of designs and shifts, and
// the decision values of designs beside its search.
func TestRunLengthsBesideR(t *testing.T) {
	t.Parallel()
	rscript, err := exec.LookPath("Rscript")
	if err != nil || exec.Command(rscript, "-e", "library(spc)").Run() != nil {
		t.Skip("skipped: Rscript with the package spc is missing (Debian: r-cran-spc)")
	}
	var program strings.Builder
	program.WriteString("library(spc)\nsay <- function(x) cat(sprintf('%.12g\\n', x))\n")
	type check struct {
		what string
		got  float64
	}
	var checks []check
	for _, k := range []float64{0.1, 0.25, 0.45, 0.75, 1.2, 2} {
		for _, h := range []float64{0.4, 1.1, 2.5, 4.2} {
			for _, shift := range []float64{0, 0.3, 0.9, 2, 4} {
				for _, head := range []float64{0, h / 2} {
					c := CUSUM{K: k, H: h, HeadStart: head}
					checks = append(checks, check{fmt.Sprintf("%+v, shift %v", c, shift), arl(t, c, shift)},
						check{fmt.Sprintf("%+v, shift %v, one side", c, shift), oneSided(t, c, shift)})
					fmt.Fprintf(&program, "say(xcusum.arl(k=%v, h=%v, mu=%v, hs=%v, sided='two', r=80))\n", k, h, shift, head)
					fmt.Fprintf(&program, "say(xcusum.arl(k=%v, h=%v, mu=%v, hs=%v, sided='one', r=80))\n", k, h, shift, head)
				}
			}
		}
		h, err := DesignH(k, 400)
		if err != nil {
			t.Fatal(err)
		}
		checks = append(checks, check{fmt.Sprintf("run length of the design for k %v", k), arl(t, CUSUM{K: k, H: h}, 0)})
		fmt.Fprintf(&program, "say(xcusum.arl(k=%v, h=%v, mu=0, sided='two', r=80))\n", k, h)
	}
	cmd := exec.Command(rscript, "-")
	cmd.Stdin = strings.NewReader(program.String())
	out, err := cmd.Output()
	if err != nil {
		t.Fatal(err)
	}
	lines := strings.Fields(string(out))
	if len(lines) != len(checks) {
		t.Fatalf("%d answers to %d questions", len(lines), len(checks))
	}
	for i, c := range checks {
		var want float64
		if _, err := fmt.Sscan(lines[i], &want); err != nil {
			t.Fatal(err)
		}
		near(t, c.what, c.got/want, 1, 1e-6)
	}
}
