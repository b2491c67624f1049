package store

import (
	"context"
	"fmt"

	"fairmetal/blob"
	"fairmetal/job"
)

// Health tells why the workshop cannot work at present.
func (s *Store) Health(ctx context.Context) error {
	var one int
	if err := s.row(ctx, "SELECT 1").Scan(&one); err != nil {
		return fmt.Errorf("the records cannot be read: %w", err)
	}
	if d, ok := s.blobs.(blob.Disk); ok {
		if err := writable(d.Dir); err != nil {
			return fmt.Errorf("photos cannot be stored: %w", err)
		}
	}
	return nil
}

// States counts the captures by how far their measuring is.
func (s *Store) States(ctx context.Context) (map[job.State]int, error) {
	rows, err := s.query(ctx, "SELECT state, count(*) FROM captures GROUP BY state")
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	out := map[job.State]int{job.Queued: 0, job.Measuring: 0, job.Measured: 0, job.Refused: 0}
	for rows.Next() {
		var state string
		var n int
		if err := rows.Scan(&state, &n); err != nil {
			return nil, err
		}
		out[job.State(state)] = n
	}
	return out, rows.Err()
}
