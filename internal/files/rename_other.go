//go:build unix && !linux

package files

import "errors"

func renameNew(tmp, path string) error { return errors.ErrUnsupported }
