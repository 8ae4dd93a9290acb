package session

import (
	"path/filepath"
	"reflect"
	"testing"
)

func TestNames(t *testing.T) {
	for _, c := range [][2][]string{
		{{"/a/one.fits", "/b/two.fits"}, {"one.fits", "two.fits"}},
		{{"/night/a/one.fits", "/night/b/one.fits", "/night/b/two.fits"}, {"a/one.fits", "b/one.fits", "two.fits"}},
		{{"/x/a/f/1.fits", "/y/a/f/1.fits"}, {"x/a/f/1.fits", "y/a/f/1.fits"}},
		{{"1.fits", "sub/1.fits"}, {"1.fits", "sub/1.fits"}},
		{{"./1.fits", "1.fits"}, {"1.fits", "1.fits"}},
		{nil, {}},
	} {
		got := Names(c[0])
		for i := range got {
			got[i] = filepath.ToSlash(got[i])
		}
		if !reflect.DeepEqual(got, c[1]) {
			t.Errorf("%q are called %q, want %q", c[0], got, c[1])
		}
	}
}
