package schemas

// TestDensity is a container weighed full: bulk density.
type TestDensity struct {
	Product ProductID `json:"product" rule:"id"`
	MassKg  float64   `json:"mass_kg" rule:"min=0.001 max=100000"`
	VolumeL float64   `json:"volume_l" rule:"min=0.001 max=100000"`
	Machine MachineID `json:"machine,omitempty" rule:"token"`
}

// TestCatch is a catch test: by distance (distance_m) or by time (time_s and
// speed_kmh); bout_width_m belongs to both.
type TestCatch struct {
	CatchTest   TestID    `json:"catch_test" rule:"id"`
	Product     ProductID `json:"product" rule:"id"`
	GateMm      float64   `json:"gate_mm" rule:"min=0 max=2000"`
	CollectedKg float64   `json:"collected_kg" rule:"min=0 max=100000"`
	BoutWidthM  float64   `json:"bout_width_m" rule:"min=0.5 max=80"`
	DistanceM   *float64  `json:"distance_m,omitempty" rule:"min=0.1 max=100000"`
	TimeS       *float64  `json:"time_s,omitempty" rule:"min=0.1 max=86400"`
	SpeedKmh    *float64  `json:"speed_kmh,omitempty" rule:"min=0.1 max=300"`
	BeltGear    string    `json:"belt_gear,omitempty" rule:"maxlen=64"`
	PTORpm      *float64  `json:"pto_rpm,omitempty" rule:"min=0 max=2000"`
	Repeats     []float64 `json:"repeats,omitempty" rule:"maxitems=100 elem.min=0 elem.max=100000" doc:"collected kg of each repeat"`
	Machine     MachineID `json:"machine,omitempty" rule:"token"`
}

// TestTray is a row of trays across the driving line.
type TestTray struct {
	TrayTest     TestID    `json:"tray_test" rule:"id"`
	Product      ProductID `json:"product" rule:"id"`
	BoutWidthM   float64   `json:"bout_width_m" rule:"min=0.5 max=80"`
	TraySpacingM float64   `json:"tray_spacing_m" rule:"min=0.05 max=20"`
	TrayWidthM   float64   `json:"tray_width_m" rule:"min=0.05 max=5"`
	TrayLengthM  float64   `json:"tray_length_m" rule:"min=0.05 max=5"`
	MassesG      []float64 `json:"masses_g" rule:"minitems=3 maxitems=1000 elem.min=0 elem.max=100000" doc:"left to right, seen in the driving direction"`
	DiscSet      string    `json:"disc_set,omitempty" rule:"enum=granular|powder"`
	VanePosition string    `json:"vane_position,omitempty" rule:"maxlen=64"`
	WindMS       *float64  `json:"wind_m_s,omitempty" rule:"min=0 max=100"`
	Machine      MachineID `json:"machine,omitempty" rule:"token"`
}

// TestOverlap compares trays on driving lines with trays between them.
type TestOverlap struct {
	OverlapTest    TestID    `json:"overlap_test" rule:"id"`
	AtDrivingLineG []float64 `json:"at_driving_line_g" rule:"minitems=1 maxitems=1000 elem.min=0 elem.max=100000"`
	BetweenLinesG  []float64 `json:"between_lines_g" rule:"minitems=1 maxitems=1000 elem.min=0 elem.max=100000"`
	Machine        MachineID `json:"machine,omitempty" rule:"token"`
}

// CheckMachine is one item of a machine check.
type CheckMachine struct {
	Item    string    `json:"item" rule:"enum=belt_sag|vanes|chains|screen|tyres|hydraulics|guard|hitch_chain"`
	Value   float64   `json:"value" rule:"min=-1000000 max=1000000"`
	Unit    string    `json:"unit" rule:"maxlen=16"`
	Pass    bool      `json:"pass"`
	Note    string    `json:"note,omitempty" rule:"maxlen=2000"`
	Machine MachineID `json:"machine,omitempty" rule:"token"`
}
