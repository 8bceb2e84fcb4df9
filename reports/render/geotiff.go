package render

import (
	"bufio"
	"encoding/binary"
	"fmt"
	"io"
	"math"
	"strings"

	"hopperbook/reports"
)

// GeoTIFF writes a map's cells as kg/ha: TIFF 6.0, one band of float32,
// uncompressed, rows from the north, NaN outside the field; GeoTIFF 1.1 keys
// for the field's own transverse Mercator on WGS84, so that no cell is
// resampled.
func GeoTIFF(w io.Writer, a reports.MapAnswer) error {
	rates, err := a.Rates()
	if err != nil {
		return err
	}
	g := *a.Grid
	t := tiff{}
	t.longs(256, uint32(g.Cols))
	t.longs(257, uint32(g.Rows))
	t.shorts(258, 32) // bits a sample
	t.shorts(259, 1)  // uncompressed
	t.shorts(262, 1)  // black is zero
	t.ascii(270, a.Sheet().Title+", kg/ha. "+strings.Join(a.Sheet().Caution, " "))
	offset := t.longs(273, 0) // of the strip: known when all tags are
	t.shorts(277, 1)          // samples a pixel
	t.longs(278, uint32(g.Rows))
	t.longs(279, uint32(4*len(rates)))
	t.ascii(305, "hopperbook")
	t.shorts(339, 3) // IEEE floating point
	t.doubles(33550, a.CellM, a.CellM, 0)
	t.doubles(33922, 0, 0, 0, g.XM, g.YM+float64(g.Rows)*a.CellM, 0)
	t.geoKeys(g)
	t.ascii(42112, `<GDALMetadata><Item name="DESCRIPTION" sample="0" role="description">applied</Item><Item name="UNITTYPE" sample="0" role="unittype">kg/ha</Item></GDALMetadata>`)
	t.ascii(42113, "nan") // no data
	head := t.head(offset)
	out := bufio.NewWriterSize(w, 1<<16)
	_, _ = out.Write(head) // an error stays in the writer for Flush
	row := make([]byte, 0, 4*g.Cols)
	for y := g.Rows - 1; y >= 0; y-- {
		row = row[:0]
		for _, v := range rates[y*g.Cols : (y+1)*g.Cols] {
			row = binary.LittleEndian.AppendUint32(row, math.Float32bits(v))
		}
		_, _ = out.Write(row)
	}
	return out.Flush()
}

// geoKeys says where the plane lies: OGC GeoTIFF 1.1, user-defined projection.
func (t *tiff) geoKeys(g reports.MapGrid) {
	const userDefined = 32767
	citation := fmt.Sprintf("Field plane: transverse Mercator at %.7f, %.7f, WGS 84|", g.LatDeg, g.LonDeg)
	keys := [][4]uint16{ // key, where its value stands, count, value or index
		{1024, 0, 1, 1},                          // model: projected
		{1025, 0, 1, 1},                          // a cell is an area
		{1026, 34737, uint16(len(citation)), 0},  // citation
		{2048, 0, 1, 4326},                       // geographic: WGS 84
		{3072, 0, 1, userDefined},                // projected system
		{3073, 34737, uint16(len(citation)), 0},  // its citation
		{3074, 0, 1, userDefined},                // projection
		{3075, 0, 1, 1},                          // method: transverse Mercator
		{3076, 0, 1, 9001},                       // metre
		{3080, 34736, 1, 0},                      // longitude of origin
		{3081, 34736, 1, 1},                      // latitude of origin
		{3082, 34736, 1, 2}, {3083, 34736, 1, 2}, // false easting and northing
		{3092, 34736, 1, 3}, // scale at the origin
	}
	directory := []uint16{1, 1, 1, uint16(len(keys))}
	for _, k := range keys {
		directory = append(directory, k[:]...)
	}
	t.shorts(34735, directory...)
	t.doubles(34736, g.LonDeg, g.LatDeg, 0, 1)
	t.ascii(34737, citation)
}

// tiff gathers the tags of one little-endian image, in rising order.
type tiff struct {
	entries []byte // 12 bytes a tag
	values  []byte // of tags that do not fit into their entry
	patches []int  // entries whose value is an offset into values
}

const (
	tiffASCII, tiffShort, tiffLong, tiffDouble = 2, 3, 4, 12
	tiffHeader                                 = 8
)

// tag adds a tag and gives the place of its value in entries.
func (t *tiff) tag(id uint16, kind uint16, count int, value []byte) int {
	t.entries = binary.LittleEndian.AppendUint16(t.entries, id)
	t.entries = binary.LittleEndian.AppendUint16(t.entries, kind)
	t.entries = binary.LittleEndian.AppendUint32(t.entries, uint32(count))
	at := len(t.entries)
	if len(value) <= 4 {
		t.entries = append(t.entries, append(value, make([]byte, 4-len(value))...)...)
		return at
	}
	t.patches = append(t.patches, at)
	t.entries = binary.LittleEndian.AppendUint32(t.entries, uint32(len(t.values)))
	t.values = append(t.values, value...)
	if len(t.values)%2 == 1 {
		t.values = append(t.values, 0) // values begin on even places
	}
	return at
}

func (t *tiff) shorts(id uint16, values ...uint16) {
	var b []byte
	for _, v := range values {
		b = binary.LittleEndian.AppendUint16(b, v)
	}
	t.tag(id, tiffShort, len(values), b)
}

func (t *tiff) longs(id uint16, value uint32) int {
	return t.tag(id, tiffLong, 1, binary.LittleEndian.AppendUint32(nil, value))
}

func (t *tiff) doubles(id uint16, values ...float64) {
	var b []byte
	for _, v := range values {
		b = binary.LittleEndian.AppendUint64(b, math.Float64bits(v))
	}
	t.tag(id, tiffDouble, len(values), b)
}

// ascii writes text; TIFF holds 7 bits, other letters become '?'.
func (t *tiff) ascii(id uint16, text string) {
	b := make([]byte, 0, len(text)+1)
	for _, r := range text {
		if r < ' ' || r > '~' {
			r = '?'
		}
		b = append(b, byte(r))
	}
	b = append(b, 0)
	t.tag(id, tiffASCII, len(b), b)
}

// head is everything before the pixels; the entry at strip gets their offset.
func (t *tiff) head(strip int) []byte {
	first := tiffHeader + 2 + len(t.entries) + 4
	for _, at := range t.patches {
		v := binary.LittleEndian.Uint32(t.entries[at:])
		binary.LittleEndian.PutUint32(t.entries[at:], v+uint32(first))
	}
	binary.LittleEndian.PutUint32(t.entries[strip:], uint32(first+len(t.values)))
	out := []byte{'I', 'I', 42, 0, tiffHeader, 0, 0, 0}
	out = binary.LittleEndian.AppendUint16(out, uint16(len(t.entries)/12))
	out = append(out, t.entries...)
	out = append(out, 0, 0, 0, 0) // no other image
	return append(out, t.values...)
}
