package catalog

import (
	"bytes"
	"context"
	"path/filepath"
	"testing"

	"pintle/index/catalog/sample"
)

// BenchmarkImport reads 100 000 rows of each format into a list.
func BenchmarkImport(b *testing.B) {
	const rows = 100_000
	for _, format := range sample.Formats {
		var data bytes.Buffer
		if err := sample.Write(&data, format, seed, rows); err != nil {
			b.Fatal(err)
		}
		b.Run(format, func(b *testing.B) {
			dst := filepath.Join(b.TempDir(), "list")
			b.SetBytes(int64(data.Len()))
			for b.Loop() {
				if _, err := Import(context.Background(), dst, []Source{memory(format, data.Bytes())}, Options{}, silent); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(float64(b.N)*rows/b.Elapsed().Seconds(), "rows/s")
		})
	}
}
