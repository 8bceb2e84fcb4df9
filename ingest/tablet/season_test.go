package tablet

import (
	"encoding/json"
	"math"
	"testing"
	"time"

	"hopperbook/ingest/season"
	"hopperbook/schemas"
)

// seasonDay plays one spreader's season through the agent: what its operator
// did becomes commands, what its receiver said becomes fixes, what the loader
// weighed comes with the office's copies. It returns the estimate of the
// hopper just before each refill.
func seasonDay(t *testing.T, s *season.Season) (b *bench, before map[schemas.RefillID]float64) {
	t.Helper()
	b = newBench(t, RoleSpreader)
	b.cfg.Device = s.Devices[0].ID
	b.restart()
	p := officeCopies(t, s)
	p.At = s.Config.Start
	if err := b.TakePacket(p); err != nil {
		t.Fatal(err)
	}
	before = map[schemas.RefillID]float64{}
	loads := map[schemas.LoadID]schemas.CabLoad{}
	for _, a := range s.ByTime() {
		e := a.Event
		read, bad := schemas.Read(e.Raw)
		if bad != nil {
			t.Fatal(bad)
		}
		if e.Type == schemas.TypeLoadWeighed {
			l := data[schemas.LoadWeighed](t, &read)
			loads[l.Load] = schemas.CabLoad{Load: l.Load, Product: l.Product, NetKg: l.NetKg, At: e.Time}
		}
		if a.Device != s.Devices[0].ID {
			continue
		}
		b.at = e.Time.Add(-time.Second) // do moves the clock on by one
		if e.Type == schemas.TypeHopperRefilled {
			r := data[schemas.HopperRefilled](t, &read)
			if kg := b.View().Hopper.Kg; kg != nil {
				before[r.Refill] = *kg
			}
			p.At, p.Loads = e.Time, nil
			for _, id := range r.Loads {
				p.Loads = append(p.Loads, loads[id])
			}
			if err := b.TakePacket(p); err != nil {
				t.Fatal(err)
			}
		}
		b.replay(&read)
	}
	return b, before
}

func officeCopies(t *testing.T, s *season.Season) schemas.CabPacket {
	p := schemas.CabPacket{Schema: schemas.SchemaCab, Device: s.Devices[0].ID}
	for _, e := range s.Devices[len(s.Devices)-1].Events {
		read, _ := schemas.Read(e.Raw)
		switch e.Type {
		case schemas.TypeRegisterField:
			p.Fields = append(p.Fields, data[schemas.RegisterField](t, &read))
		case schemas.TypeRegisterMachine:
			p.Machines = append(p.Machines, data[schemas.RegisterMachine](t, &read))
		case schemas.TypeRegisterProduct:
			p.Products = append(p.Products, data[schemas.RegisterProduct](t, &read))
		case schemas.TypeRegisterJob:
			p.Jobs = append(p.Jobs, schemas.CabJob{RegisterJob: data[schemas.RegisterJob](t, &read), State: "ordered"})
		}
	}
	return p
}

func data[T any](t *testing.T, e *schemas.Event) T {
	t.Helper()
	v, err := schemas.DecodeData[T](e)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

func (b *bench) replay(e *schemas.Event) {
	t := b.t.(*testing.T)
	raw := json.RawMessage(e.Data)
	switch e.Type {
	case schemas.TypePassLogged:
		fixes, _, err := schemas.PassFixes(e.Data, nil)
		if err != nil {
			t.Fatal(err)
		}
		for _, f := range fixes {
			b.at = time.UnixMilli(f.UnixMilli).UTC()
			b.OnFix(f, "switch")
		}
		if _, err := b.LogPass(data[schemas.PassLogged](t, e), ""); err != nil {
			t.Fatal(err)
		}
	case schemas.TypeHopperRefilled:
		r := data[schemas.HopperRefilled](t, e)
		left := Residual{Method: r.ResidualMethod, Kg: r.ResidualKg}
		b.do(DoRefill, Refill{Loads: r.Loads, Residual: left, Product: r.Product, Confirm: true})
	case schemas.TypeSettingChanged:
		b.do(DoSetting, raw)
	case schemas.TypeTestCatch:
		b.do(DoCatch, raw)
	case schemas.TypeTestDensity:
		b.do(DoDensity, raw)
	case schemas.TypeTestTray:
		b.do(DoTray, raw)
	case schemas.TypeCheckMachine:
		b.do(DoCheck, raw)
	case schemas.TypeWeatherNoted:
		b.do(DoWeather, raw)
	case schemas.TypeJobStarted:
		j := data[schemas.JobStarted](t, e)
		b.do(DoWho, Who{j.Operator})
		b.do(DoPick, Pick{Job: j.Job, Field: j.Field})
		b.do(DoStart, Start{})
	case schemas.TypeJobFinished:
		b.do(DoFinish, struct{}{})
	}
}

// TestSeasonAgainstTheTruth: the rate of every closed run and the hopper before
// every refill are what really happened, within what the readings' errors and
// the receiver's allow.
func TestSeasonAgainstTheTruth(t *testing.T) {
	s, err := season.Play(season.Config{Seed: 11, Days: 2, Spreaders: 1, Loaders: 1, Noise: season.Noise{
		GNSSSdM: 0.02, ScaleSdShare: 1e-9, ScaleBiasShare: 1e-9, EmptySdKg: 1e-3, UnknownShare: 0.2}}.NoFaults())
	if err != nil {
		t.Fatal(err)
	}
	b, before := seasonDay(t, s)
	h := b.book.balance(b.live.By)
	if len(h.runs) < 6 {
		t.Fatalf("only %d runs were closed", len(h.runs))
	}
	const levelSdKg = 100 // the largest that is drawn
	var allKg, allTruthKg float64
	const sameTime = 2 * time.Second
	for i, r := range h.runs {
		var mass, nominal float64
		began := false
		for _, iv := range s.Truth.Intervals {
			if began = began || iv.Start.Sub(r.from).Abs() < sameTime; !began {
				continue
			}
			mass, nominal = mass+iv.MassKg, nominal+iv.NominalKg
			if iv.End.Sub(r.to).Abs() < sameTime {
				break
			}
		}
		allKg, allTruthKg = allKg+r.nominalKg, allTruthKg+nominal
		if math.Abs(r.nominalKg-nominal) > 0.015*nominal { // spreading begins and ends between fixes
			t.Errorf("run %d: nominal %.0f kg, truth %.0f", i, r.nominalKg, nominal)
		}
		if math.Abs(r.massKg-mass) > 2*4*levelSdKg {
			t.Errorf("run %d: %.0f kg went out, truth %.0f", i, r.massKg, mass)
		}
	}
	if math.Abs(allKg-allTruthKg) > 0.002*allTruthKg {
		t.Errorf("nominal %.0f kg in all, truth %.0f", allKg, allTruthKg)
	}
	right, all := 0, 0
	for _, iv := range s.Truth.Intervals {
		kg, known := before[iv.To]
		if !known || iv.NominalKg == 0 {
			continue
		}
		if all++; math.Abs(kg-iv.ResidualKg) < 0.05*iv.NominalKg+levelSdKg {
			right++
		}
	}
	if all < 8 || right < all*9/10 {
		t.Errorf("the hopper was right before %d of %d refills", right, all)
	}
}
