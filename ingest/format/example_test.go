package format_test

import (
	"fmt"
	"os"

	"stillspan/ingest/format"
)

func ExampleRead() {
	file, err := os.Open("testdata/little.jpg")
	if err != nil {
		fmt.Println(err)
		return
	}
	defer file.Close()
	info, err := file.Stat()
	if err != nil {
		fmt.Println(err)
		return
	}
	facts, err := format.Read(file, info.Size())
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println(facts.Format, facts.Width, "x", facts.Height, facts.Taken, facts.ExposureS, "s")
	// Output: jpeg 64 x 48 2026-05-01 21:14:07.037 +0200 +0200 0.004 s
}

func ExampleBySuffix() {
	f, ok := format.BySuffix("DSC_0001.NEF")
	fmt.Println(f.Name, f.Raw, ok)
	// Output: nef true true
}
