package report

import (
	"encoding/json"
	"net/url"
	"reflect"
	"slices"
	"unicode/utf8"
)

// byteNames are the texts in v, names of files and folders, that are not UTF-8
// and that JSON therefore cannot hold: each as it is written, with U+FFFD, to
// the percent-encoded bytes (RFC 3986, 2.1) of all that are written so.
func byteNames(v any) map[string][]string {
	found := map[string][]string{}
	collectBytes(reflect.ValueOf(v), found)
	return found
}

var marshals = reflect.TypeFor[json.Marshaler]()

func collectBytes(v reflect.Value, found map[string][]string) {
	switch v.Kind() {
	case reflect.String:
		collectName(v.String(), found)
	case reflect.Pointer, reflect.Interface:
		if !v.IsNil() {
			collectBytes(v.Elem(), found)
		}
	case reflect.Slice, reflect.Array:
		if k := v.Type().Elem().Kind(); k >= reflect.Bool && k <= reflect.Complex128 {
			return // numbers
		}
		for i := range v.Len() {
			collectBytes(v.Index(i), found)
		}
	case reflect.Map:
		for each := v.MapRange(); each.Next(); {
			collectBytes(each.Value(), found)
		}
	case reflect.Struct:
		collectFields(v, found)
	}
}

func collectName(s string, found map[string][]string) {
	if utf8.ValidString(s) {
		return
	}
	var written string
	if text, err := json.Marshal(s); err != nil || json.Unmarshal(text, &written) != nil {
		return
	}
	if bytes := url.PathEscape(s); !slices.Contains(found[written], bytes) {
		found[written] = append(found[written], bytes)
	}
}

func collectFields(v reflect.Value, found map[string][]string) {
	if v.Type().Implements(marshals) {
		return
	}
	for i := range v.NumField() {
		if f := v.Type().Field(i); f.IsExported() && f.Tag.Get("json") != "-" {
			collectBytes(v.Field(i), found)
		}
	}
}
