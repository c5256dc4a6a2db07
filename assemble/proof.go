package assemble

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"

	ffmpeg "github.com/u2takey/ffmpeg-go"

	"stillspan/internal/process"
)

// proofSide is the longer side of a proof's pictures, pixels, where the clip is
// as large.
const proofSide = 480

// proofSamples is how many samples of each row and column count towards a
// proof's pixel.
const proofSamples = 3

// proofEncoder makes proofs; every browser plays what it writes.
const proofEncoder = "libx264"

// proof is a small copy of the clip, encoded on the side: each frame as shot,
// and below it the same as it is in the clip, so that one decoder shows both at
// the same frame.
type proof struct {
	path   string
	w, h   int // of one of the two
	shot   picture
	clip   picture
	colour *corrector // of nothing: takes what was decoded to the clip's colours
	narrow *conversion
	bytes  []byte
	made   [][2]plane // shot and clip, plane by plane
	cmd    *exec.Cmd
	in     *os.File
	failed error
}

// Proof has Run encode a small copy of the clip to path, an MP4, while it makes
// the clip: frame for frame each still as shot above the same in the clip, mid
// grey above frames that are made up. Its failure is no failure of the clip:
// then there is no file. It does nothing where this ffmpeg cannot encode it.
func (p *Pipeline) Proof(path string) {
	if ok, err := hasEncoder(proofEncoder); err != nil || !ok {
		return
	}
	q := &proof{path: path, narrow: p.narrow}
	q.w, q.h = ProofSize(p.geo.w, p.geo.h)
	words := pictureWords(q.w, q.h, 2, 2)
	q.shot = newPicture(make([]uint16, words), q.w, q.h, 2, 2)
	q.clip = newPicture(make([]uint16, words), q.w, q.h, 2, 2)
	q.made = [][2]plane{{q.shot.y, q.clip.y}, {q.shot.cb, q.clip.cb}, {q.shot.cr, q.clip.cr}}
	q.bytes = make([]byte, 2*words)
	q.colour = newCorrector(nil, geometry{w: q.w, h: q.h, cropW: q.w, cropH: q.h}, q.w, q.h)
	p.proof = q
}

// ProofSize is the size of a proof's picture of a clip of w x h: a multiple of
// four, so that chroma and two of them fit.
func ProofSize(w, h int) (int, int) {
	scale := min(1, float64(proofSide)/float64(max(w, h)))
	fit := func(v int) int { return max(int(float64(v)*scale+2)&^3, 16) }
	return fit(w), fit(h)
}

// begin starts the encoder.
func (q *proof) begin(ctx context.Context, rate string) {
	r, w, err := os.Pipe()
	if err != nil {
		q.failed = err
		return
	}
	defer r.Close()
	cmd, _ := process.Command(ctx, "ffmpeg", proofArgs(q.path, q.w, 2*q.h, rate)...)
	cmd.Stdin = r
	if err := cmd.Start(); err != nil {
		w.Close()
		q.failed = err
		return
	}
	q.cmd, q.in = cmd, w
}

func proofArgs(path string, w, h int, rate string) []string {
	in := ffmpeg.Input("pipe:0", ffmpeg.KwArgs{
		"f": "rawvideo", "pix_fmt": "yuv420p", "s": fmt.Sprintf("%dx%d", w, h), "framerate": rate,
		"color_range": "tv", "colorspace": "bt709", "color_primaries": "bt709", "color_trc": "bt709",
	})
	return finish(in.Output(file(path), ffmpeg.KwArgs{
		"c:v": proofEncoder, "preset": "veryfast", "crf": 26, "threads": 1, "pix_fmt": "yuv420p", "g": 24, "bf": 0,
		"color_range": "tv", "colorspace": "bt709", "color_primaries": "bt709", "color_trc": "bt709",
		"an": "", "map_metadata": "-1", "movflags": "+faststart", "f": "mp4",
	}).GetArgs())
}

// asShot takes a still as it was decoded.
func (q *proof) asShot(from picture, colours *conversion) {
	if q.failed != nil {
		return
	}
	shrink(q.shot, from)
	q.colour.correct(q.shot, [3]float64{}, nil)
	if colours != nil {
		colours.run(q.shot)
	}
	if q.narrow != nil {
		q.narrow.run(q.shot)
	}
}

// inClip takes a frame of the clip and hands both to the encoder.
func (q *proof) inClip(from picture, madeUp bool) {
	if q.failed != nil {
		return
	}
	shrink(q.clip, from)
	if q.narrow != nil {
		q.narrow.run(q.clip)
	}
	at := 0
	for k, both := range q.made {
		for j, pl := range both {
			n := len(pl.pix)
			if madeUp && j == 0 {
				fillBytes(q.bytes[at:at+n], []byte{126, 128, 128}[k])
			} else {
				for i, v := range pl.pix {
					q.bytes[at+i] = byte(min((uint32(v)+128)>>8, 255))
				}
			}
			at += n
		}
	}
	if _, err := q.in.Write(q.bytes[:at]); err != nil {
		q.failed = err
	}
}

func fillBytes(b []byte, v byte) {
	for i := range b {
		b[i] = v
	}
}

// end waits for the encoder; a proof that is not whole is removed.
func (q *proof) end(err error) {
	if q.cmd == nil {
		return
	}
	q.in.Close()
	if errors.Join(err, q.failed, q.cmd.Wait()) != nil {
		os.Remove(q.path)
	}
}

// JoinProofs makes one proof of those of a clip's Segments, in order, without
// encoding them again.
func JoinProofs(ctx context.Context, path string, parts []string) error {
	return concat(ctx, path, parts, nil, "-f", "mp4", "-movflags", "+faststart")
}

// shrink makes a picture small, each pixel the mean of proofSamples x
// proofSamples of those under it.
func shrink(to, from picture) {
	shrinkPlane(to.y, from.y)
	shrinkPlane(to.cb, from.cb)
	shrinkPlane(to.cr, from.cr)
}

func shrinkPlane(to, from plane) {
	per := proofSamples
	if from.w <= to.w && from.h <= to.h {
		per = 1
	}
	xs, ys := places(to.w, from.w, per), places(to.h, from.h, per)
	half := uint32(per*per) / 2
	for y := range to.h {
		row := to.row(y)
		for x := range row {
			sum := half
			for _, py := range ys[y*per:][:per] {
				line := from.row(py)
				for _, px := range xs[x*per:][:per] {
					sum += uint32(line[px])
				}
			}
			row[x] = uint16(sum / uint32(per*per))
		}
	}
}
