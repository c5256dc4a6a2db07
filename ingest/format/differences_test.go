package format_test

import (
	"path"
	"slices"
	"strings"
)

// Reasons why a field may differ from exiftool's answer. The group exiftool
// takes the value from was looked up with -G1.
const (
	makersNotes  = "exiftool takes it from maker's notes; of those only Canon's and Nikon's serial number, focus mode and Canon's ISO are read"
	xmpOrIPTC    = "stated in XMP or IPTC, which are not read"
	otherBlock   = "exiftool prefers a block beside EXIF (CIFF, picture information, thermal data); EXIF is what is read"
	previewSize  = "exiftool gives the size of the embedded JPEG; the sensor's picture is what is meant here"
	sensorSize   = "exiftool prefers the maker's size, without the sensor's edge; the directory's own is what is meant here"
	makersSize   = "the size stands in maker's notes only, which are not read for it"
	propertyList = "stated in Sigma's property list, which is not read"
	blankDate    = "a blank date is no time"
	broken       = "the file was broken on purpose, to bring programs down; its values are nobody's"
	noStill      = "the file is no still picture but metadata by themselves"
)

// difference is a named reason for some files (a pattern) and fields.
type difference struct {
	files  string
	fields string // separated by spaces
	reason string
}

type differenceList []difference

// reason is "" for a difference that was never looked into.
func (l differenceList) reason(file string, c comparison) string {
	for _, d := range l {
		if ok, err := path.Match(d.files, file); err == nil && ok && slices.Contains(strings.Fields(d.fields), c.field) {
			return d.reason
		}
	}
	return ""
}

var differences = differenceList{
	{"11-tests.jpg", "ISO WhiteBalance", makersNotes},
	{"30-type_error.jpg", "DateTimeOriginal", xmpOrIPTC},
	{"adobeJpeg1.jpg", "DateTimeOriginal", xmpOrIPTC},
	{"metadata_demo_iim_and_xmp_only.jpg", "DateTimeOriginal", xmpOrIPTC},
	{"upstream66.jpg", "DateTimeOriginal", xmpOrIPTC},
	{"PhotoMechanic.jpg", "DateTimeOriginal", xmpOrIPTC},
	{"issue-590.png", "DateTimeOriginal ExposureTime FNumber ISO FocalLength Make Model SerialNumber WhiteBalance ExposureMode ExposureProgram", xmpOrIPTC},
	{"utf8-in-ztxt.png", "DateTimeOriginal SubSecTimeOriginal ExposureTime FNumber ISO FocalLength Make Model SerialNumber WhiteBalance ExposureMode ExposureProgram", xmpOrIPTC},
	{"withUncompressedYCbCrThumbnail4.jpg", "DateTimeOriginal", blankDate},
	{"j*lstravatnet.pef", "ISO SerialNumber", makersNotes},
	{"Pentax.jpg", "ISO", makersNotes},
	{"nikonMakernoteType1.jpg", "WhiteBalance", makersNotes},
	{"withPanasonicFaces.jpg", "WhiteBalance", makersNotes},
	{"Panasonic.*", "WhiteBalance", makersNotes},
	{"Casio*.jpg", "DateTimeOriginal ISO WhiteBalance", makersNotes},
	{"FujiFilm.jpg", "WhiteBalance", makersNotes},
	{"Kodak.jpg", "ExposureTime FNumber ISO WhiteBalance", makersNotes},
	{"Motorola.jpg", "SerialNumber", makersNotes},
	{"Olympus*.jpg", "SerialNumber", makersNotes},
	{"Sigma.jpg", "SerialNumber", makersNotes},
	{"PhaseOne.iiq", "SerialNumber", makersNotes},
	{"DNG.dng", "SerialNumber", "the same number, which exiftool takes from maker's notes without its leading zero"},
	{"ExifTool.jpg", "DateTimeOriginal ExposureTime Make Model SerialNumber", otherBlock},
	{"FLIR.jpg", "DateTimeOriginal", otherBlock},
	{"FujiFilm.raf", "ImageWidth ImageHeight", previewSize},
	{"SigmaDP2.x3f", "ImageWidth ImageHeight", previewSize},
	{"SigmaDP2.x3f", "SerialNumber", propertyList},
	{"Sigma.x3f", "DateTimeOriginal ExposureTime FNumber ISO FocalLength Make Model SerialNumber WhiteBalance ExposureProgram", propertyList},
	{"sample.arw", "ImageWidth ImageHeight", sensorSize},
	{"PhaseOne.iiq", "ImageWidth ImageHeight", makersSize},

	// Test data of the Debian source packages exiv2, kimageformats and vips.
	{"2018-01-09-exiv2-crash-00[23].tiff", "ImageWidth", broken},
	{"*poc*.jpg", "ImageWidth ImageHeight Make", broken},
	{"issue_839_poc.rw2", "Make", broken},
	{"issue_1881_coverage.jpg", "Orientation ImageHeight", broken},
	{"issue_1918_poc?.jpg", "DateTimeOriginal", xmpOrIPTC},
	{"test_issue_1472.jpg", "DateTimeOriginal ExposureTime FNumber ISO FocalLength Make Model WhiteBalance ExposureMode ExposureProgram", noStill},
	{"Stonehenge.heic", "SerialNumber", xmpOrIPTC},
	{"exiv2-bug1074.png", "Make Model", xmpOrIPTC},
	{"exiv2-bug440.jpg", "DateTimeOriginal", xmpOrIPTC},
	{"exiv2-bug540.jpg", "DateTimeOriginal FNumber Make Model ExposureProgram", xmpOrIPTC},
	{"iptc-psAPP13-*.jpg", "DateTimeOriginal", xmpOrIPTC},
	{"RAW_KODAK_C330_FORMAT_NONE_YRGB.png", "Make Model", xmpOrIPTC},
	{"*bit*.png", "DateTimeOriginal", xmpOrIPTC},
	{"53alphas.png", "DateTimeOriginal", xmpOrIPTC},
	{"ccbug182496.png", "DateTimeOriginal", xmpOrIPTC},
	{"duotone.png", "DateTimeOriginal", xmpOrIPTC},
	{"indexed.png", "DateTimeOriginal", xmpOrIPTC},
	{"exiv2-bug443.jpg", "ExposureTime FNumber ISO WhiteBalance", makersNotes},
	{"exiv2-bug884?.jpg", "ISO", makersNotes},
	{"exiv2-canon-*", "WhiteBalance", makersNotes},
	{"exiv2-nikon-e950.jpg", "WhiteBalance", makersNotes},
	{"exiv2-panasonic-dmc-fz5.jpg", "WhiteBalance", makersNotes},
	{"exiv2-sigma-d10.jpg", "SerialNumber", makersNotes},
	{"smiley2.jpg", "WhiteBalance", makersNotes},
}
