package outbox

import (
	"encoding/binary"
	"hash/crc32"
	"time"

	"github.com/klauspost/compress/zstd"
	"github.com/tidwall/gjson"

	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// A packed event is its time (Unix milliseconds, 8 bytes), the CRC-32C of time
// and event (4 bytes), how it is stored (1 byte: raw or zstd), and its bytes.
const packHeader = 13

const (
	storedRaw  = 'r'
	storedZstd = 'z'
)

// damagedPrefix stands before what is sent in the place of a damaged event: it
// makes the whole no JSON, so that the hub keeps it as a reject.
const damagedPrefix = "damaged on the tablet's disk: "

type packer struct {
	enc   *zstd.Encoder
	dec   *zstd.Decoder
	table *crc32.Table
}

func newPacker() (*packer, error) {
	enc, err := zstd.NewWriter(nil, zstd.WithEncoderConcurrency(1), zstd.WithLowerEncoderMem(true), zstd.WithEncoderCRC(false))
	if err != nil {
		return nil, fault.New("open the outbox", fault.Internal, err, "")
	}
	dec, err := zstd.NewReader(nil, zstd.WithDecoderConcurrency(1), zstd.WithDecoderLowmem(true), zstd.WithDecoderMaxMemory(schemas.MaxEventBytes))
	if err != nil {
		return nil, fault.New("open the outbox", fault.Internal, err, "")
	}
	return &packer{enc, dec, crc32.MakeTable(crc32.Castagnoli)}, nil
}

func (p *packer) sum(header, raw []byte) uint32 {
	return crc32.Update(crc32.Checksum(header, p.table), p.table, raw)
}

func (p *packer) pack(at time.Time, raw []byte) []byte {
	v := make([]byte, packHeader, packHeader+len(raw)/2)
	binary.BigEndian.PutUint64(v, uint64(at.UnixMilli()))
	binary.BigEndian.PutUint32(v[8:], p.sum(v[:8], raw))
	v[12] = storedZstd
	if v = p.enc.EncodeAll(raw, v); len(v) < packHeader+len(raw) {
		return v
	}
	v[12] = storedRaw
	return append(v[:packHeader], raw...)
}

// unpacked is a stored event; it shares no memory with the file.
type unpacked struct {
	at      time.Time
	typ     schemas.EventType
	raw     []byte
	damaged bool
}

// unpack reads a stored value and never fails: what is not as it was packed
// becomes the stand-in that the hub will reject.
func (p *packer) unpack(v []byte) unpacked {
	if len(v) < packHeader {
		return damaged(v)
	}
	var raw []byte
	switch v[12] {
	case storedRaw:
		raw = append(raw, v[packHeader:]...)
	case storedZstd:
		var err error
		if raw, err = p.dec.DecodeAll(v[packHeader:], nil); err != nil {
			return damaged(v)
		}
	default:
		return damaged(v)
	}
	if p.sum(v[:8], raw) != binary.BigEndian.Uint32(v[8:]) {
		return damaged(v)
	}
	at := time.UnixMilli(int64(binary.BigEndian.Uint64(v))).UTC()
	return unpacked{at: at, typ: schemas.EventType(gjson.GetBytes(raw, "type").Str), raw: raw}
}

func damaged(v []byte) unpacked {
	return unpacked{raw: append([]byte(damagedPrefix), v...), damaged: true}
}
