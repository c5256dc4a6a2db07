package stamp

import (
	"encoding/binary"
	"errors"
	"math"

	"stillspan/internal/exiftag"
)

// Mosaic is what a sensor behind red, green, green and blue filters (RGGB)
// recorded: W x H codes from 0, black, to White, proportional to the light.
type Mosaic struct {
	W, H  int
	White uint16
	Pix   []uint16
}

// daylight is the matrix from CIE XYZ to the camera's own colours that a DNG
// has to state: here those of linear sRGB (IEC 61966-2-1, inverse of its
// matrix), in 1/10000.
var daylight = []int32{32406, -15372, -4986, -9689, 18758, 415, 557, -2040, 10570}

// Tags that only a DNG's writer needs, by TIFF/EP and the DNG specification
// 1.4, and their codes.
const (
	samplesPerPixel  = 0x0115
	rowsPerStrip     = 0x0116
	cfaRepeat        = 0x828D
	cfaPattern       = 0x828E
	uniqueModel      = 0xC614
	blackLevel       = 0xC61A
	whiteLevel       = 0xC61D
	colorMatrix      = 0xC621
	asShotNeutral    = 0xC628
	illuminant       = 0xC65A
	illuminantD65    = 21
	photometricYCbCr = 6
)

// DNG returns a raw file as a camera writes one: the preview, a JPEG of pw x
// ph pixels, in the main directory, and the sensor's data beside it. An empty
// preview is left out.
func DNG(m Mosaic, f Fields, preview []byte, pw, ph int) ([]byte, error) {
	if m.W < 2 || m.H < 2 || len(m.Pix) != m.W*m.H {
		return nil, errors.New("stamp: a mosaic needs W x H codes")
	}
	main, exif, err := directories(f)
	if err != nil {
		return nil, err
	}
	if len(preview) > 0 {
		main = append(main,
			long(exiftag.ImageWidth, uint32(pw)), long(exiftag.ImageLength, uint32(ph)),
			shorts(exiftag.BitsPerSample, 8, 8, 8), short(exiftag.Compression, exiftag.CompressionJPEG),
			short(exiftag.Photometric, photometricYCbCr), short(samplesPerPixel, 3),
			long(rowsPerStrip, uint32(ph)), long(exiftag.StripOffsets, 0), long(exiftag.StripByteCounts, uint32(len(preview))),
		)
	}
	main = append(main,
		long(exiftag.NewSubfileType, exiftag.SubfileReducedBit),
		long(exiftag.SubIFDs, 0), long(exiftag.ExifIFD, 0),
		bytesField(exiftag.DNGVersion, 1, 4, 0, 0), text(uniqueModel, f.Model),
		signedRationals(colorMatrix, daylight, 10000), rationals(asShotNeutral, []uint32{1, 1, 1}, 1),
		short(illuminant, illuminantD65),
	)
	raw := []field{
		long(exiftag.NewSubfileType, 0),
		long(exiftag.ImageWidth, uint32(m.W)), long(exiftag.ImageLength, uint32(m.H)),
		short(exiftag.BitsPerSample, 16), short(exiftag.Compression, 1),
		short(exiftag.Photometric, exiftag.PhotometricCFA), short(samplesPerPixel, 1),
		long(rowsPerStrip, uint32(m.H)), long(exiftag.StripOffsets, 0), long(exiftag.StripByteCounts, uint32(2*len(m.Pix))),
		shorts(cfaRepeat, 2, 2), bytesField(cfaPattern, 0, 1, 1, 2),
		short(blackLevel, 0), short(whiteLevel, m.White),
	}
	order := binary.AppendByteOrder(binary.LittleEndian)
	w := writer{order: binary.LittleEndian, out: []byte("II*\x00\x08\x00\x00\x00")}
	if f.BigEndian {
		order = binary.BigEndian
		w = writer{order: binary.BigEndian, out: []byte("MM\x00*\x00\x00\x00\x08")}
	}
	at := w.dir(main)
	w.put32(at[exiftag.ExifIFD], uint32(len(w.out)))
	w.dir(exif)
	w.put32(at[exiftag.SubIFDs], uint32(len(w.out)))
	rawAt := w.dir(raw)
	if len(preview) > 0 {
		w.put32(at[exiftag.StripOffsets], uint32(len(w.out)))
		w.out = append(w.out, preview...)
		if len(w.out)%2 == 1 {
			w.out = append(w.out, 0)
		}
	}
	if int64(len(w.out))+2*int64(len(m.Pix)) > math.MaxUint32 {
		return nil, errors.New("stamp: a mosaic too large for TIFF")
	}
	w.put32(rawAt[exiftag.StripOffsets], uint32(len(w.out)))
	for _, v := range m.Pix {
		w.out = order.AppendUint16(w.out, v)
	}
	return w.out, nil
}
