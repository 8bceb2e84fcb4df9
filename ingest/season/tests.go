package season

import (
	"fmt"
	"math"
	"math/rand/v2"
	"time"

	"hopperbook/schemas"
)

// tester makes what a crew notes when it sets a machine up for a product,
// besides the catch test: checks, density, trays, overlap. Its chances are its
// own, so that they change nothing of what is driven and weighed.
type tester struct {
	rng     *rand.Rand
	made    int
	overlap schemas.ProductID // to be tested at the end of the next field; "": not
}

func newTester(seed uint64, number int) tester {
	return tester{rng: rand.New(rand.NewPCG(seed, 0x7e57<<32|uint64(number)))}
}

// about is a value with a relative error.
func (t *tester) about(value, share, step float64) float64 {
	return round(value*(1+share*t.rng.NormFloat64()), step)
}

// setUp notes everything within the minutes before the catch test; nothing is
// the matter with any machine.
func (c *crew) setUp() {
	ready := c.now
	c.checkMachine()
	c.densityTest()
	c.trayTest()
	c.now = ready
}

func (c *crew) checkMachine() {
	note := func(item, position string, value float64, unit string, low, high *float64) {
		c.now = c.now.Add(10 * time.Second)
		c.note(schemas.TypeCheckMachine, schemas.CheckMachine{Item: item, Position: position, Value: value, Unit: unit, Pass: true, LimitLow: low, LimitHigh: high})
	}
	c.now = c.now.Add(-14 * time.Minute)
	for _, item := range []string{schemas.ItemGuard, schemas.ItemPTOGuard, schemas.ItemLumpBreakerCover, schemas.ItemHitchChain, schemas.ItemScreen, schemas.ItemHydraulics, schemas.ItemLevel} {
		note(item, "", 1, "-", nil, nil)
	}
	low, high := 2.2, 2.6
	for _, side := range []string{"left", "right"} {
		note(schemas.ItemTyres, side, round(2.3+0.2*c.tester.rng.Float64(), 10), "bar", &low, &high)
		note(schemas.ItemBeltSag, side, round(20+20*c.tester.rng.Float64(), 1), "mm", nil, nil)
	}
}

func (c *crew) densityTest() {
	const volumeL, fillings = 20, 3
	tare := 1.1
	test := schemas.TestDensity{Product: c.product.id, VolumeL: volumeL, TareKg: &tare}
	for range fillings {
		gross := tare + c.tester.about(c.product.densityKgM3/1000*volumeL, 0.004, 100)
		test.Repeats = append(test.Repeats, round(gross, 100))
		test.MassKg += gross / fillings
	}
	test.MassKg = round(test.MassKg, 100)
	c.now = c.now.Add(2 * time.Minute)
	c.note(schemas.TypeTestDensity, test)
}

// trayTest lays a row of trays a metre apart. The pattern falls from three
// quarters of half a bout on, as far beyond it: neighbouring passes add up to an
// even rate, which is what the season's ground gets.
func (c *crew) trayTest() {
	const sideM, m2PerHa = 0.5, 1e4
	reach := math.Ceil(0.75 * c.boutM)
	wind := round(0.4+1.4*c.tester.rng.Float64(), 10)
	test := schemas.TestTray{
		TrayTest: c.testID("t"), Product: c.product.id, BoutWidthM: c.boutM, TraySpacingM: 1, TrayWidthM: sideM, TrayLengthM: sideM,
		DiscSet: c.product.form, WindMS: &wind,
	}
	fullG := c.product.rateKgHa * 1000 * sideM * sideM / m2PerHa
	for x := -reach; x <= reach; x++ {
		share := min(1, max(0, (0.75*c.boutM-math.Abs(x))/(c.boutM/2)))
		test.MassesG = append(test.MassesG, max(0, c.tester.about(fullG*share, 0.02, 100)))
	}
	c.now = c.now.Add(6 * time.Minute)
	c.note(schemas.TypeTestTray, test)
	c.tester.overlap = c.product.id
}

// overlapTest looks, after the first field of a product, whether the passes met.
func (c *crew) overlapTest() {
	if c.tester.overlap != c.product.id {
		return
	}
	c.tester.overlap = ""
	bout := c.boutM
	test := schemas.TestOverlap{OverlapTest: c.testID("o"), Product: c.product.id, BoutWidthM: &bout}
	fullG := c.product.rateKgHa * 1000 * 0.25 / 1e4
	for range 4 {
		test.AtDrivingLineG = append(test.AtDrivingLineG, c.tester.about(fullG, 0.02, 100))
		test.BetweenLinesG = append(test.BetweenLinesG, c.tester.about(fullG, 0.02, 100))
	}
	c.note(schemas.TypeTestOverlap, test)
}

func (c *crew) testID(kind string) schemas.TestID {
	c.tester.made++
	return schemas.TestID(fmt.Sprintf("%s-%d-%02d", kind, c.number+1, c.tester.made))
}
