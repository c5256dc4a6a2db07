package assemble

import (
	"runtime"

	"stillspan/ingest/format"
	"stillspan/internal/process"
)

// A decoder of stills holds some pictures of its own beside one for each thread
// that has one in work, twice: packed and on its way.
const (
	ownPictures       = 4
	picturesPerThread = 2
)

// frameThreads is how many stills ffmpeg decodes at once where it can, which it
// does of PNG and TIFF: as many as keep within the memory of one still that is
// as large as can be; 0 leaves it to ffmpeg.
func (p *Pipeline) frameThreads() int {
	if p.pipedAs != "" || p.pixelBytes() <= 3 {
		return 0
	}
	return int(min(max(format.MaxDecoded/p.pictureBytes(), 1), int64(runtime.NumCPU()), 8))
}

// pixelBytes is what a pixel takes in ffmpeg's decoder.
func (p *Pipeline) pixelBytes() int64 {
	switch f := format.ByName(p.job.Sources[0].Format); {
	case p.pipedAs == "ppm":
		return 6
	case p.pipedAs == "png":
		return 8
	case p.pipedAs != "" || f.Decoder == format.JPEG || f.Decoder == format.Embedded:
		return 3
	}
	return 8
}

func (p *Pipeline) pictureBytes() int64 {
	return max(1, int64(p.srcW)*int64(p.srcH)*p.pixelBytes())
}

// decoderMemory is what the decoder may take, bytes: what it needs for stills of
// the size that their headers state.
func (p *Pipeline) decoderMemory() int64 {
	threads := int64(max(1, p.frameThreads()))
	out := 2 * int64(p.wideWords())
	memory := (picturesPerThread*threads + ownPictures) * (p.pictureBytes() + out)
	if p.job.Sources[0].Format == "jxl" {
		memory += 64 * int64(p.srcW) * int64(p.srcH) // its decoder's planes
	}
	return process.Memory(memory)
}
