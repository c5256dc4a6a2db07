package report

import (
	"time"

	"stillspan/assemble/shoot"
)

// Input is all that a report is made of. Nothing in it is changed.
type Input struct {
	*shoot.Found
	Made time.Time
	// Warnings are remarks on the run, such as a tool that is not installed.
	Warnings []string
}
