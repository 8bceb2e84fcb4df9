package schemas

import (
	"encoding/json"
	"math"
)

// TestDensity is a container weighed full: bulk density.
type TestDensity struct {
	Product ProductID `json:"product" rule:"id"`
	MassKg  float64   `json:"mass_kg" rule:"min=0.001 max=100000" doc:"product and container; with repeats their mean"`
	VolumeL float64   `json:"volume_l" rule:"min=0.001 max=100000" doc:"of the container"`
	Machine MachineID `json:"machine,omitempty" rule:"token"`
	TareKg  *float64  `json:"tare_kg,omitempty" rule:"min=0 max=100000" doc:"of the empty container; left out: mass_kg is the product alone"`
	Repeats []float64 `json:"repeats,omitempty" rule:"maxitems=100 elem.min=0.001 elem.max=100000" doc:"mass in kg of each filling of the same container, as mass_kg"`
}

// Where a catch test collects: everything at the belt, by funnel and bucket,
// or everything over the full width.
const (
	CaughtAtBelt    = "belt"
	CaughtFullWidth = "full_width"
)

// TestCatch is a catch test: by distance (distance_m) or by time (time_s and
// speed_kmh); bout_width_m belongs to both.
type TestCatch struct {
	CatchTest    TestID    `json:"catch_test" rule:"id"`
	Product      ProductID `json:"product" rule:"id"`
	GateMm       float64   `json:"gate_mm" rule:"min=0 max=2000"`
	CollectedKg  float64   `json:"collected_kg" rule:"min=0 max=100000" doc:"product and bucket; with repeats their mean"`
	BoutWidthM   float64   `json:"bout_width_m" rule:"min=0.5 max=80"`
	DistanceM    *float64  `json:"distance_m,omitempty" rule:"min=0.1 max=100000"`
	TimeS        *float64  `json:"time_s,omitempty" rule:"min=0.1 max=86400"`
	SpeedKmh     *float64  `json:"speed_kmh,omitempty" rule:"min=0.1 max=300"`
	BeltGear     string    `json:"belt_gear,omitempty" rule:"maxlen=64"`
	PTORpm       *float64  `json:"pto_rpm,omitempty" rule:"min=0 max=2000"`
	Repeats      []float64 `json:"repeats,omitempty" rule:"maxitems=100 elem.min=0 elem.max=100000" doc:"collected kg of each repeat, as collected_kg"`
	Machine      MachineID `json:"machine,omitempty" rule:"token"`
	TareKg       *float64  `json:"tare_kg,omitempty" rule:"min=0 max=100000" doc:"of the empty bucket or sheet; left out: the masses are the product alone"`
	Revolutions  *float64  `json:"revolutions,omitempty" rule:"min=0.001 max=1000000" doc:"of the metering shaft in each repeat"`
	DiscSet      string    `json:"disc_set,omitempty" rule:"enum=granular|powder"`
	CaughtAt     string    `json:"caught_at,omitempty" rule:"enum=belt|full_width" doc:"funnel and bucket at the belt, or everything over the full width"`
	GroundDriven bool      `json:"ground_driven,omitempty" doc:"of a test by time: the belt follows the ground speed"`
}

// MassesG are the masses of trays in g; NaN, in JSON null, is a tray that was
// not weighed: a wheel went over it.
type MassesG []float64

// MarshalJSON writes null for NaN.
func (m MassesG) MarshalJSON() ([]byte, error) {
	out := make([]*float64, len(m))
	for i := range m {
		if !math.IsNaN(m[i]) {
			out[i] = &m[i]
		}
	}
	return json.Marshal(out)
}

// UnmarshalJSON reads null as NaN.
func (m *MassesG) UnmarshalJSON(raw []byte) error {
	var read []*float64
	if err := json.Unmarshal(raw, &read); err != nil {
		return err
	}
	*m = nil
	if read != nil {
		*m = make(MassesG, len(read))
	}
	for i, v := range read {
		(*m)[i] = math.NaN()
		if v != nil {
			(*m)[i] = *v
		}
	}
	return nil
}

// TestTray is a row of trays across the driving line.
type TestTray struct {
	TrayTest      TestID    `json:"tray_test" rule:"id"`
	Product       ProductID `json:"product" rule:"id"`
	BoutWidthM    float64   `json:"bout_width_m" rule:"min=0.5 max=80"`
	TraySpacingM  float64   `json:"tray_spacing_m" rule:"min=0.05 max=20"`
	TrayWidthM    float64   `json:"tray_width_m" rule:"min=0.05 max=5"`
	TrayLengthM   float64   `json:"tray_length_m" rule:"min=0.05 max=5"`
	MassesG       MassesG   `json:"masses_g" rule:"minitems=3 maxitems=1000 elem.min=0 elem.max=100000 elem.nullable" doc:"left to right, seen in the driving direction; null: the tray is missing"`
	DiscSet       string    `json:"disc_set,omitempty" rule:"enum=granular|powder"`
	VanePosition  string    `json:"vane_position,omitempty" rule:"maxlen=64"`
	WindMS        *float64  `json:"wind_m_s,omitempty" rule:"min=0 max=100"`
	Machine       MachineID `json:"machine,omitempty" rule:"token"`
	PositionsM    []float64 `json:"positions_m,omitempty" rule:"maxitems=1000 lengthof=masses_g elem.min=-80 elem.max=80" doc:"centre of each tray, metres right of the driving line; left out: the row's middle is on it"`
	Passes        int64     `json:"passes,omitempty" rule:"min=1 max=1000" doc:"over the row; left out: one"`
	CatchRateKgHa *float64  `json:"catch_rate_kg_ha,omitempty" rule:"min=0.01 max=50000" doc:"by the catch test with this batch, at bout_width_m"`
}

// TestOverlap compares trays on driving lines with trays between them.
type TestOverlap struct {
	OverlapTest    TestID    `json:"overlap_test" rule:"id"`
	AtDrivingLineG []float64 `json:"at_driving_line_g" rule:"minitems=1 maxitems=1000 elem.min=0 elem.max=100000"`
	BetweenLinesG  []float64 `json:"between_lines_g" rule:"minitems=1 maxitems=1000 elem.min=0 elem.max=100000"`
	Machine        MachineID `json:"machine,omitempty" rule:"token"`
	Product        ProductID `json:"product,omitempty" rule:"id"`
	BoutWidthM     *float64  `json:"bout_width_m,omitempty" rule:"min=0.5 max=80"`
}

// The items of a machine check.
const (
	ItemBeltSag          = "belt_sag"
	ItemVanes            = "vanes"
	ItemChains           = "chains"
	ItemScreen           = "screen"
	ItemTyres            = "tyres"
	ItemHydraulics       = "hydraulics" // the oil's level
	ItemGuard            = "guard"
	ItemHitchChain       = "hitch_chain"
	ItemLumpBreakerCover = "lump_breaker_cover"
	ItemPTOGuard         = "pto_guard"
	ItemLevel            = "level" // the machine stands level on the ground
)

// CheckMachine is one item of a machine check. limit_low and limit_high are the
// machine's own table, in the value's unit (a tyre's pressures).
type CheckMachine struct {
	Item      string    `json:"item" rule:"enum=belt_sag|vanes|chains|screen|tyres|hydraulics|guard|hitch_chain|lump_breaker_cover|pto_guard|level"`
	Value     float64   `json:"value" rule:"min=-1000000 max=1000000"`
	Unit      string    `json:"unit" rule:"maxlen=16"`
	Pass      bool      `json:"pass"`
	Note      string    `json:"note,omitempty" rule:"maxlen=2000"`
	Machine   MachineID `json:"machine,omitempty" rule:"token"`
	Position  string    `json:"position,omitempty" rule:"maxlen=64" doc:"which one, where the machine has several: left, rear right"`
	LimitLow  *float64  `json:"limit_low,omitempty" rule:"min=-1000000 max=1000000" doc:"by the machine's own table, in unit"`
	LimitHigh *float64  `json:"limit_high,omitempty" rule:"min=-1000000 max=1000000" doc:"by the machine's own table, in unit"`
}
