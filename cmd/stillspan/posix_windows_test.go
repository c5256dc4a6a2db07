package main

import (
	"fmt"
	"os"
	"strings"
)

func init() {
	posix = map[string]func(){
		"cat": func() {
			for _, name := range os.Args[1:] {
				data, err := os.ReadFile(name)
				or(err)
				os.Stdout.Write(data)
			}
		},
		"ls": func() {
			dir := "."
			if last := os.Args[len(os.Args)-1]; len(os.Args) > 1 && !strings.HasPrefix(last, "-") {
				dir = last
			}
			entries, err := os.ReadDir(dir)
			or(err)
			for _, e := range entries {
				fmt.Println(e.Name())
			}
		},
	}
}

func or(err error) {
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
}
