package words

import (
	"strings"
	"testing"

	"pintle/cmd/pintle/series"
)

// No cloud is so thick that the loss of light is told to a tenth of 25 magnitudes.
func TestLostLight(t *testing.T) {
	for _, c := range []struct {
		much, share float64
		says        string
	}{
		{1.5, 0, " up to 1.5 magnitudes of starlight are missing"},
		{1.5, 0.3, " up to 1.5 magnitudes of starlight and 30 % of the stars that should show are missing"},
		{0, 0.3, " up to 30 % of the stars that should show are missing"},
		{24.6, 0, "c.fits more than 6 magnitudes of starlight are missing"},
	} {
		if said := looksLike(&series.Finding{Kind: series.Clouds, Names: []string{"c.fits"}, Much: c.much, Share: c.share}); !strings.Contains(said, c.says) {
			t.Errorf("%g magnitudes, %g of the stars: %q", c.much, c.share, said)
		}
	}
}
