package words_test

import (
	"fmt"

	"stillspan/internal/words"
)

func Example() {
	fmt.Println(words.Seconds(5430), "/", words.Exposure(1.0/60), "/", words.Bytes(int64(8_300_000)), "/", words.Count(2, "battery"))
	// Output: 1 h 30 min 30 s / 1/60 s / 8.3 MB / 2 batteries
}
