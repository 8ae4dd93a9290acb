package page

import (
	"encoding/json"
	"strings"
	"testing"

	"pintle/cmd/pintle/session"
)

// The page's script takes every list for one: an empty state has none that is
// null.
func TestEmptyStateHasNoNullLists(t *testing.T) {
	b, err := json.Marshal(Of(&session.State{}))
	if err != nil {
		t.Fatal(err)
	}
	for _, list := range []string{"doubts", "notes", "moves", "trail", "marks"} {
		if !strings.Contains(string(b), `"`+list+`":[]`) {
			t.Errorf("%s is no empty list in %s", list, b)
		}
	}
}
