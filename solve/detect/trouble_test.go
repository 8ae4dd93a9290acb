package detect

import (
	"fmt"
	"strings"
)

// words returns what is wrong with a picture in one line.
func (f *Field) words() string {
	return strings.TrimSuffix(strings.TrimPrefix(fmt.Sprint(f.Troubles()), "["), "]")
}
