// Package exiftag holds the tag numbers and code words that the reader and
// the writer of EXIF share. Numbers and meanings are those of EXIF 2.32
// (CIPA DC-008-2019) and TIFF 6.0; DNG's are of the DNG specification 1.6.
package exiftag

// Tags of picture directories.
const (
	NewSubfileType        = 0x00FE
	ImageWidth            = 0x0100
	ImageLength           = 0x0101
	Compression           = 0x0103
	Photometric           = 0x0106
	Make                  = 0x010F
	Model                 = 0x0110
	StripOffsets          = 0x0111
	Orientation           = 0x0112
	DateTime              = 0x0132
	StripByteCounts       = 0x0117
	SubIFDs               = 0x014A
	JPEGOffset            = 0x0201
	JPEGLength            = 0x0202
	ExifIFD               = 0x8769
	GPSIFD                = 0x8825
	ICCProfile            = 0x8773
	BitsPerSample         = 0x0102
	DNGVersion            = 0xC612
	DNGCameraModel        = 0xC614
	DNGSerial             = 0xC62F
	PhotometricCFA        = 32803
	PhotometricLinear     = 34892
	CompressionOldJPEG    = 6
	CompressionJPEG       = 7
	SubfileReducedBit     = 1
	MPFEntries            = 0xB002
	PanasonicJPEG         = 0x002E // the numbers below are those of RW2 files
	PanasonicTopBorder    = 0x0004
	PanasonicLeftBorder   = 0x0005
	PanasonicBottomBorder = 0x0006
	PanasonicRightBorder  = 0x0007
	PanasonicISO          = 0x0017
)

// Tags of the EXIF directory.
const (
	ExposureTime         = 0x829A
	FNumber              = 0x829D
	ExposureProgram      = 0x8822
	ISO                  = 0x8827
	StandardOutput       = 0x8831
	RecommendedIndex     = 0x8832
	ISOSpeed             = 0x8833
	ExifVersion          = 0x9000
	DateTimeOriginal     = 0x9003
	DateTimeDigitized    = 0x9004
	OffsetTimeOriginal   = 0x9011
	OffsetTimeDigitized  = 0x9012
	ShutterSpeedValue    = 0x9201
	ApertureValue        = 0x9202
	ExposureBias         = 0x9204
	SubjectDistance      = 0x9206
	ColorSpace           = 0xA001
	InteropIFD           = 0xA005
	InteropIndex         = 0x0001 // in the directory that InteropIFD points to
	FocalLength          = 0x920A
	MakerNote            = 0x927C
	SubSecTimeOriginal   = 0x9291
	SubSecTimeDigitized  = 0x9292
	PixelXDimension      = 0xA002
	PixelYDimension      = 0xA003
	ExposureMode         = 0xA402
	WhiteBalance         = 0xA403
	BodySerialNumber     = 0xA431
	LensModel            = 0xA434
	SubjectAtInfinityNum = 0xFFFFFFFF
)

// Tags of the GPS directory: universal time of the fix (EXIF 2.32, 4.6.6).
const (
	GPSTimeStamp = 0x0007
	GPSDateStamp = 0x001D
)

// The words for coded values: the index is the code. An empty word is a code
// without a meaning.
var (
	WhiteBalanceWords = []string{"auto", "manual"}
	ExposureModeWords = []string{"auto", "manual", "auto bracket"}
	ProgramWords      = []string{"", "manual", "program", "aperture priority", "shutter priority",
		"creative", "action", "portrait", "landscape", "bulb"}
)

// Word returns the word for a code, or "" for a code it does not know.
func Word(words []string, code int) string {
	if code < 0 || code >= len(words) {
		return ""
	}
	return words[code]
}
