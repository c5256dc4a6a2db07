package report

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"stillspan/assemble"
)

// num writes v with at most the given decimals and no trailing zeros.
func num(v float64, decimals int) string {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return "unknown"
	}
	s := strconv.FormatFloat(v, 'f', decimals, 64)
	if strings.Contains(s, ".") {
		s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	}
	if s == "-0" {
		return "0"
	}
	return s
}

// fixed writes v with exactly the given decimals, for columns of numbers.
func fixed(f Float, decimals int) string {
	if !f.Known() {
		return "-"
	}
	return strconv.FormatFloat(float64(f), 'f', decimals, 64)
}

// signed is num with a plus sign on numbers above zero.
func signed(v float64, decimals int) string {
	s := num(v, decimals)
	if v > 0 && s != "0" {
		return "+" + s
	}
	return s
}

func signedFixed(f Float, decimals int) string {
	if f.Known() && f > 0 {
		return "+" + fixed(f, decimals)
	}
	return fixed(f, decimals)
}

// count writes "1 frame", "4 frames".
func count(n int, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return fmt.Sprintf("%d %ss", n, noun)
}

// clipSeconds writes a playing time as it is spoken of: "12.5 s", "12.33 s".
func clipSeconds(s Float) string { return num(float64(s), 2) + " s" }

// rateWord is a rate as it is spoken of, 23.976 for 24000/1001.
func rateWord(rate string) string {
	r, err := assemble.ParseRate(rate)
	if err != nil {
		return rate
	}
	return num(r.FPS(), 3)
}

// percent writes a share.
func percent(f Float, decimals int) string {
	if !f.Known() {
		return "unknown"
	}
	return num(100*float64(f), decimals) + " %"
}
