package tablet

import (
	"encoding/json"

	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

func (c *Cab) density(p *plan, in schemas.TestDensity) error {
	var err error
	if p.result, err = c.tryDensity(&in); err != nil {
		return err
	}
	p.add(schemas.TypeTestDensity, in)
	return nil
}

func (c *Cab) catch(p *plan, in schemas.TestCatch) error {
	if err := c.aboard(); err != nil {
		return err
	}
	in.CatchTest = schemas.TestID(c.id(p, schemas.TypeTestCatch))
	var err error
	if p.result, err = c.tryCatch(&in); err != nil {
		return err
	}
	p.add(schemas.TypeTestCatch, in)
	return nil
}

func (c *Cab) tray(p *plan, in schemas.TestTray) error {
	if err := c.aboard(); err != nil {
		return err
	}
	in.TrayTest = schemas.TestID(c.id(p, schemas.TypeTestTray))
	var err error
	if p.result, err = c.tryTray(&in); err != nil {
		return err
	}
	p.add(schemas.TypeTestTray, in)
	return nil
}

// try works a test out and books nothing.
func (c *Cab) try(p *plan, in Try) error {
	switch in.Test {
	case DoDensity:
		return tried(p, in.Data, c.tryDensity)
	case DoCatch:
		return tried(p, in.Data, c.tryCatch)
	case DoTray:
		return tried(p, in.Data, c.tryTray)
	}
	return refuse(KeyBody, fault.Usage, "name density, catch or tray", "there is no test %.40q", in.Test)
}

func tried[T, R any](p *plan, data json.RawMessage, work func(*T) (R, error)) error {
	return with(func(p *plan, v T) error {
		result, err := work(&v)
		p.result = result
		return err
	})(p, data)
}

func (c *Cab) tryDensity(in *schemas.TestDensity) (DensityResult, error) {
	product, err := c.aProduct(in.Product)
	if err != nil {
		return DensityResult{}, err
	}
	in.Product, in.Machine = product, c.cfg.Machine
	r, err := c.cfg.Rules.Density(*in, c.book.registerKgM3(product))
	r.Findings = listed(r.Findings)
	return r, ofTest(err)
}

func (c *Cab) tryCatch(in *schemas.TestCatch) (CatchResult, error) {
	product, err := c.aProduct(in.Product)
	if err != nil {
		return CatchResult{}, err
	}
	in.Product, in.Machine = product, c.cfg.Machine
	past := make([]schemas.TestCatch, len(c.book.catches))
	for i, d := range c.book.catches {
		past[i] = d.Data
	}
	r, err := c.cfg.Rules.Catch(*in, c.setRate(product), past)
	r.Findings = listed(r.Findings)
	return r, ofTest(err)
}

// setRate is what a product is to be spread at: by the job in hand, else by
// its setting; 0: not known.
func (c *Cab) setRate(p schemas.ProductID) float64 {
	if j := c.book.job(c.work().job); j != nil && j.Product == p {
		return j.SetRateKgHa
	}
	if s := c.book.settingFor(p); s != nil {
		return s.Data.SetRateKgHa
	}
	return 0
}

func (c *Cab) tryTray(in *schemas.TestTray) (TrayResult, error) {
	product, err := c.aProduct(in.Product)
	if err != nil {
		return TrayResult{}, err
	}
	in.Product, in.Machine = product, c.cfg.Machine
	r, err := c.cfg.Rules.Tray(*in, c.book.products[product])
	r.Findings = listed(r.Findings)
	return r, ofTest(err)
}

// listed is a list that is empty, not null, on the page.
func listed(findings []string) []string {
	if findings == nil {
		return []string{}
	}
	return findings
}

// ofTest is why a test cannot be worked out, for the operator.
func ofTest(err error) error {
	if err == nil {
		return nil
	}
	return refusal(&Refusal{Key: KeyTest, Text: err.Error()}, fault.Input, fault.HintOf(err))
}
