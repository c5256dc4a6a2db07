package icc

import (
	"bytes"
	"encoding/binary"
	"math"
)

// Bytes is the profile in version 4 (ICC.1:2022), its curves parametric: for
// stills that are drawn. Curves of a table are not written.
func (p *Profile) Bytes() []byte {
	var data bytes.Buffer
	var table bytes.Buffer
	tag := func(name string, b []byte) {
		table.WriteString(name)
		_ = binary.Write(&table, binary.BigEndian, []uint32{uint32(132 + 12*9 + data.Len()), uint32(len(b))})
		data.Write(b)
		data.Write(make([]byte, -len(b)&3))
	}
	s15 := func(v ...float64) (out []byte) {
		for _, x := range v {
			out = binary.BigEndian.AppendUint32(out, uint32(int32(math.Round(x*65536))))
		}
		return out
	}
	text := func(s string) []byte {
		b := append([]byte("mluc\x00\x00\x00\x00\x00\x00\x00\x01\x00\x00\x00\x0cenUS"), 0, 0, 0, byte(2*len(s)), 0, 0, 0, 28)
		for _, r := range s {
			b = append(b, 0, byte(r))
		}
		return b
	}
	tag("desc", text(p.Name))
	tag("cprt", text("none"))
	tag("wtpt", append([]byte("XYZ \x00\x00\x00\x00"), s15(0.9642, 1, 0.8249)...))
	for i, name := range []string{"rXYZ", "gXYZ", "bXYZ"} {
		tag(name, append([]byte("XYZ \x00\x00\x00\x00"), s15(p.ToXYZ[i], p.ToXYZ[3+i], p.ToXYZ[6+i])...))
	}
	for i, name := range []string{"rTRC", "gTRC", "bTRC"} {
		c := &p.Curves[i]
		tag(name, append([]byte("para\x00\x00\x00\x00\x00\x03\x00\x00"), s15(c.G, c.A, c.B, c.C, c.D)...))
	}
	head := make([]byte, 128)
	binary.BigEndian.PutUint32(head, uint32(132+table.Len()+data.Len()))
	head[8], head[9] = 4, 0x40
	copy(head[12:], "mntrRGB XYZ ")
	copy(head[36:], "acsp")
	copy(head[68:], s15(0.9642, 1, 0.8249))
	head = binary.BigEndian.AppendUint32(head, 9)
	return append(append(head, table.Bytes()...), data.Bytes()...)
}
