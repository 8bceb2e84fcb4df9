package schemas

// Fix is one GNSS position: what a receiver says at one moment, and whether
// the machine was spreading. Angles in degrees WGS84, time in Unix
// milliseconds UTC, speed in km/h, rate in kg/ha, width in m.
//
// A value the receiver or the log did not give is NaN for floats.
type Fix struct {
	UnixMilli   int64
	LatDeg      float64
	LonDeg      float64
	SpeedKmh    float64
	HeadingDeg  float64 // true course, 0..360
	SetRateKgHa float64 // rate asked for here; NaN: the job's or setting's
	BoutWidthM  float64 // NaN: the setting's
	Quality     Quality
	Spreading   Spreading
}

// Quality is the fix quality code of NMEA 0183 GGA field 6.
type Quality uint8

// Quality codes of GGA field 6.
const (
	QualityNone Quality = iota
	QualityGNSS
	QualityDGNSS
	QualityPPS
	QualityRTKFixed
	QualityRTKFloat
	QualityEstimated
	QualityManual
	QualitySimulator
)

// Spreading says whether product was leaving the machine at a fix.
type Spreading uint8

// Spreading states; the zero value is "the log does not say".
const (
	SpreadingUnknown Spreading = iota
	SpreadingOff
	SpreadingOn
)
