package schemas

// JobStarted is the begin of work on a job.
type JobStarted struct {
	Job      JobID     `json:"job" rule:"id"`
	Field    FieldID   `json:"field,omitempty" rule:"id"`
	Operator Operator  `json:"operator,omitempty" rule:"maxlen=200"`
	Machine  MachineID `json:"machine,omitempty" rule:"token" doc:"when the event was not made on the machine itself"`
	Override *Override `json:"override,omitempty" doc:"started though a safety check of the machine had failed"`
}

// Override is who started in spite of a failed safety check, and why.
type Override struct {
	Reason   string   `json:"reason" rule:"maxlen=2000"`
	Operator Operator `json:"operator" rule:"maxlen=200"`
}

// JobFinished is the end of work on a job.
type JobFinished struct {
	Job      JobID     `json:"job" rule:"id"`
	Field    FieldID   `json:"field,omitempty" rule:"id"`
	Operator Operator  `json:"operator,omitempty" rule:"maxlen=200"`
	Machine  MachineID `json:"machine,omitempty" rule:"token" doc:"when the event was not made on the machine itself"`

	Method            string       `json:"method,omitempty" rule:"enum=surface|incorporated|injected" doc:"incorporated: within 24 hours"`
	CertificateHolder string       `json:"certificate_holder,omitempty" rule:"maxlen=200" doc:"whose certificate or licence the work was done under"`
	Buffers           []BufferKept `json:"buffers,omitempty" rule:"maxitems=32" doc:"distances kept, as the operator noted them"`
}

// BufferKept is the least distance kept from one kind of place.
type BufferKept struct {
	To        string  `json:"to" rule:"enum=watercourse|lake|coast|well|karst|supply|large_supply" doc:"well: also a spring or borehole; supply: drinking water from 10 m3 a day, large_supply: from 100 m3 a day"`
	DistanceM float64 `json:"distance_m" rule:"min=0 max=10000"`
}

// SettingChanged is what the machine is set to from now on.
type SettingChanged struct {
	Product     ProductID `json:"product" rule:"id"`
	BoutWidthM  float64   `json:"bout_width_m" rule:"min=0.5 max=80"`
	SetRateKgHa float64   `json:"set_rate_kg_ha" rule:"min=0 max=50000"`
	GateMm      *float64  `json:"gate_mm,omitempty" rule:"min=0 max=2000"`
	BeltGear    string    `json:"belt_gear,omitempty" rule:"maxlen=64"`
	PTORpm      *float64  `json:"pto_rpm,omitempty" rule:"min=0 max=2000"`
	DiscSet     string    `json:"disc_set,omitempty" rule:"enum=granular|powder"`
	RateMode    string    `json:"rate_mode,omitempty" rule:"enum=fixed|ground_speed|variable"`
	CatchTest   TestID    `json:"catch_test,omitempty" rule:"id"`
	Machine     MachineID `json:"machine,omitempty" rule:"token" doc:"when the event was not made on the machine itself"`
}

// Weighing methods of a load.
const (
	MethodBucket      = "bucket"
	MethodWeighbridge = "weighbridge"
	MethodCells       = "cells"
	MethodVolume      = "volume"
)

// LoadWeighed is product weighed for a spreader.
type LoadWeighed struct {
	Load            LoadID      `json:"load" rule:"id"`
	Product         ProductID   `json:"product" rule:"id"`
	NetKg           float64     `json:"net_kg" rule:"min=0 max=200000"`
	Method          string      `json:"method" rule:"enum=bucket|weighbridge|cells|volume"`
	LiftsKg         []float64   `json:"lifts_kg,omitempty" rule:"maxitems=200 elem.min=0 elem.max=200000" doc:"net mass of each bucket lift"`
	GrossKg         *float64    `json:"gross_kg,omitempty" rule:"min=0 max=200000"`
	TareKg          *float64    `json:"tare_kg,omitempty" rule:"min=0 max=200000"`
	SdKg            *float64    `json:"sd_kg,omitempty" rule:"min=0 max=200000" doc:"standard uncertainty of net_kg"`
	Scale           ScaleID     `json:"scale,omitempty" rule:"id"`
	Docket          DocketID    `json:"docket,omitempty" rule:"id"`
	Stockpile       StockpileID `json:"stockpile,omitempty" rule:"id"`
	VolumeM3        *float64    `json:"volume_m3,omitempty" rule:"min=0 max=200"`
	BulkDensityKgM3 *float64    `json:"bulk_density_kg_m3,omitempty" rule:"min=50 max=4000"`
	Machine         MachineID   `json:"machine,omitempty" rule:"token" doc:"the machine that weighed, when the event was not made on it"`
}

// Residual methods: how the residual before a refill was found.
const (
	ResidualEmpty   = "empty"
	ResidualCells   = "cells"
	ResidualLevel   = "level"
	ResidualUnknown = "unknown"
)

// HopperRefilled is the moment loads enter the hopper. With no loads it is a
// residual reading alone.
type HopperRefilled struct {
	Refill         RefillID  `json:"refill" rule:"id"`
	Product        ProductID `json:"product" rule:"id"`
	Loads          []LoadID  `json:"loads" rule:"maxitems=200 elem.id" doc:"may be empty: a residual reading alone"`
	ResidualKg     *float64  `json:"residual_kg,omitempty" rule:"min=0 max=200000" doc:"product left just before the refill"`
	ResidualSdKg   *float64  `json:"residual_sd_kg,omitempty" rule:"min=0 max=200000"`
	ResidualMethod string    `json:"residual_method,omitempty" rule:"enum=empty|cells|level|unknown"`
	Machine        MachineID `json:"machine,omitempty" rule:"token" doc:"the spreader, when the event was not made on it"`
}

// PassLogged is a batch of fixes; every array has one entry a fix. dt_ms is
// milliseconds since start and does not fall.
type PassLogged struct {
	Start       string       `json:"start" rule:"format=date-time"`
	DtMs        Integers     `json:"dt_ms" rule:"minitems=1 maxitems=100000 ordered elem.min=0 elem.max=604800000" doc:"milliseconds since start; does not fall"`
	Lat         []float64    `json:"lat" rule:"minitems=1 maxitems=100000 lengthof=dt_ms elem.min=-90 elem.max=90" doc:"degrees WGS84"`
	Lon         []float64    `json:"lon" rule:"minitems=1 maxitems=100000 lengthof=dt_ms elem.min=-180 elem.max=180" doc:"degrees WGS84"`
	SpeedKmh    []float64    `json:"speed_kmh" rule:"minitems=1 maxitems=100000 lengthof=dt_ms elem.min=0 elem.max=300"`
	Spreading   Integers     `json:"spreading" rule:"minitems=1 maxitems=100000 lengthof=dt_ms elem.min=0 elem.max=1"`
	SetRateKgHa NumberOrList `json:"set_rate_kg_ha,omitzero" rule:"minitems=1 maxitems=100000 lengthof=dt_ms min=0 max=50000" doc:"one number for the whole log or one a fix"`
	BoutWidthM  *float64     `json:"bout_width_m,omitempty" rule:"min=0.5 max=80"`
	HeadingDeg  []float64    `json:"heading_deg,omitempty" rule:"minitems=1 maxitems=100000 lengthof=dt_ms elem.min=0 elem.max=360"`
	Quality     Integers     `json:"quality,omitempty" rule:"minitems=1 maxitems=100000 lengthof=dt_ms elem.min=0 elem.max=8" doc:"NMEA 0183 GGA quality code"`
	Job         JobID        `json:"job,omitempty" rule:"id" doc:"the job the operator picked"`
	Field       FieldID      `json:"field,omitempty" rule:"id" doc:"the field the operator picked"`
	Machine     MachineID    `json:"machine,omitempty" rule:"token" doc:"when the event was not made on the machine itself"`
	MarkedBy    string       `json:"marked_by,omitempty" rule:"enum=switch|speed_and_field|hand" doc:"what said whether it was spreading"`
}

// What says whether product leaves the machine.
const (
	MarkedBySwitch = "switch"
	MarkedByRule   = "speed_and_field"
	MarkedByHand   = "hand"
)

// WeatherNoted is what the operator saw.
type WeatherNoted struct {
	WindMS         float64   `json:"wind_m_s" rule:"min=0 max=100"`
	WindFromDeg    float64   `json:"wind_from_deg" rule:"min=0 max=360"`
	RainMm         float64   `json:"rain_mm" rule:"min=0 max=2000"`
	Soil           string    `json:"soil" rule:"enum=dry|moist|wet|waterlogged|frozen|flooded|snow_covered"`
	ForecastRainMm *float64  `json:"forecast_rain_mm,omitempty" rule:"min=0 max=2000"`
	Machine        MachineID `json:"machine,omitempty" rule:"token"`

	TemperatureC          *float64 `json:"temperature_c,omitempty" rule:"min=-60 max=60"`
	ForecastRainChancePct *float64 `json:"forecast_rain_chance_pct,omitempty" rule:"min=0 max=100" doc:"of at least forecast_rain_mm within forecast_hours"`
	ForecastHours         *float64 `json:"forecast_hours,omitempty" rule:"min=0 max=240"`
	Forecast              string   `json:"forecast,omitempty" rule:"maxlen=500" doc:"in the forecaster's words, for the following day"`
}
