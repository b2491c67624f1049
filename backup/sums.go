package backup

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"

	"fairmetal/store"
)

// Sums hashes the records of each table: two workshops with the same sums hold the same records.
func Sums(ctx context.Context, snap *store.Snapshot) (map[string]string, error) {
	out := map[string]string{}
	for _, t := range snap.Tables {
		sum := sha256.New()
		var b bytes.Buffer
		err := snap.Rows(ctx, t, func(row []any) error {
			b.Reset()
			if err := appendRecord(&b, row); err != nil {
				return err
			}
			sum.Write(b.Bytes())
			return nil
		})
		if err != nil {
			return nil, err
		}
		out[t.Name] = hex.EncodeToString(sum.Sum(nil))
	}
	return out, nil
}
