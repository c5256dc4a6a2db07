package stamp

import (
	"cmp"
	"encoding/binary"
	"slices"
)

// Field types of TIFF 6.0.
const (
	typeByte            = 1
	typeASCII           = 2
	typeShort           = 3
	typeLong            = 4
	typeRational        = 5
	typeUndefined       = 7
	typeSignedRational  = 10
	entrySize           = 12
	inlineSize          = 4
	directoryCountBytes = 2
)

// field is one directory entry before it is laid out.
type field struct {
	tag, kind uint16
	count     uint32
	value     func(binary.ByteOrder) []byte
}

func text(tag uint16, s string) field {
	return field{tag, typeASCII, uint32(len(s) + 1), func(binary.ByteOrder) []byte { return append([]byte(s), 0) }}
}

func undefined(tag uint16, s string) field {
	return field{tag, typeUndefined, uint32(len(s)), func(binary.ByteOrder) []byte { return []byte(s) }}
}

func bytesField(tag uint16, v ...byte) field {
	return field{tag, typeByte, uint32(len(v)), func(binary.ByteOrder) []byte { return v }}
}

func short(tag, v uint16) field { return shorts(tag, v) }

func shorts(tag uint16, v ...uint16) field {
	return field{tag, typeShort, uint32(len(v)), func(o binary.ByteOrder) []byte {
		b := make([]byte, 2*len(v))
		for i, x := range v {
			o.PutUint16(b[2*i:], x)
		}
		return b
	}}
}

func long(tag uint16, v ...uint32) field {
	return longs(tag, typeLong, uint32(len(v)), v)
}

func rational(tag uint16, r Rational) field {
	return longs(tag, typeRational, 1, []uint32{r.Num, r.Den})
}

// rationals are fractions of one denominator.
func rationals(tag uint16, num []uint32, den uint32) field {
	var v []uint32
	for _, n := range num {
		v = append(v, n, den)
	}
	return longs(tag, typeRational, uint32(len(num)), v)
}

func signedRational(tag uint16, num, den int32) field {
	return signedRationals(tag, []int32{num}, den)
}

func signedRationals(tag uint16, num []int32, den int32) field {
	var v []uint32
	for _, n := range num {
		v = append(v, uint32(n), uint32(den))
	}
	return longs(tag, typeSignedRational, uint32(len(num)), v)
}

func longs(tag, kind uint16, count uint32, v []uint32) field {
	return field{tag, kind, count, func(o binary.ByteOrder) []byte {
		b := make([]byte, 4*len(v))
		for i, x := range v {
			o.PutUint32(b[4*i:], x)
		}
		return b
	}}
}

// writer lays directories out one after another.
type writer struct {
	order binary.ByteOrder
	out   []byte
	next  []int // where each directory points to the one after it
}

// dir appends a directory and the values that do not fit its entries, and
// returns where the value or offset of each tag stands.
func (w *writer) dir(fields []field) map[uint16]int {
	slices.SortFunc(fields, func(a, b field) int { return cmp.Compare(a.tag, b.tag) })
	start := len(w.out)
	at := make(map[uint16]int)
	w.out = append(w.out, make([]byte, directoryCountBytes+entrySize*len(fields)+4)...)
	w.order.PutUint16(w.out[start:], uint16(len(fields)))
	for i, f := range fields {
		entry := start + directoryCountBytes + entrySize*i
		w.order.PutUint16(w.out[entry:], f.tag)
		w.order.PutUint16(w.out[entry+2:], f.kind)
		w.order.PutUint32(w.out[entry+4:], f.count)
		at[f.tag] = entry + 8
		value := f.value(w.order)
		if len(value) <= inlineSize {
			copy(w.out[entry+8:], value)
			continue
		}
		w.order.PutUint32(w.out[entry+8:], uint32(len(w.out)))
		w.out = append(w.out, value...)
		if len(w.out)%2 == 1 { // TIFF wants values at even offsets
			w.out = append(w.out, 0)
		}
	}
	w.next = append(w.next, start+directoryCountBytes+entrySize*len(fields))
	return at
}

func (w *writer) put32(at int, v uint32) { w.order.PutUint32(w.out[at:], v) }
