package surface

import (
	"slices"
	"testing"
)

// TestBeside: amid the grid a cell has four neighbours, on its rim three, in its corners two, and none from the row before or behind.
func TestBeside(t *testing.T) {
	g := Grid{Cols: 4, Rows: 3, PitchMM: 1}
	for at, want := range map[int][]int{0: {1, 4}, 3: {2, 7}, 4: {5, 0, 8}, 5: {4, 6, 1, 9}, 7: {6, 3, 11}, 11: {10, 7}} {
		if cells, n := g.Beside(at); !slices.Equal(cells[:n], want) {
			t.Errorf("beside %d: %v, want %v", at, cells[:n], want)
		}
	}
}
