package job

import (
	"encoding/json"
	"math"
	"testing"

	"fairmetal/rack"
)

func TestAreas(t *testing.T) {
	none := [2]float64{math.NaN(), math.NaN()}
	middle := [2]float64{10, -20}
	for _, c := range []struct {
		shape   string
		in, out [2]float64
	}{{LeftHalf, [2]float64{9, 300}, [2]float64{11, 300}}, {RightHalf, [2]float64{11, 300}, [2]float64{9, 300}}, {UpperHalf, [2]float64{300, -19}, [2]float64{300, -21}}, {LowerHalf, [2]float64{300, -21}, [2]float64{300, -19}}} {
		outline, err := AreaOutline(c.shape, middle, none, none)
		if err != nil {
			t.Fatal(err)
		}
		var at Arrival
		if err := at.Tell(rack.Area{Name: c.shape, OutlineMM: outline}); err != nil {
			t.Fatal(err)
		}
		if at.Behind.At(c.in[0], c.in[1]).Behind || !at.Behind.At(c.out[0], c.out[1]).Behind {
			t.Errorf("%s: %v", c.shape, outline)
		}
	}
	// Corners in any order.
	outline, err := AreaOutline(Rectangle, middle, [2]float64{40, 5}, [2]float64{-40, -5})
	if err != nil || outline[0] != [2]float64{-40, -5} || outline[2] != [2]float64{40, 5} {
		t.Errorf("%v, %v", outline, err)
	}
	if _, err := AreaOutline(Rectangle, middle, [2]float64{0, 0}, none); err == nil {
		t.Error("a rectangle of one corner")
	}
	drawn, err := DrawnOutline("-3,4.5 20,4 18,-7 ")
	if err != nil || len(drawn) != 3 || drawn[0] != [2]float64{-3, 4.5} {
		t.Errorf("%v, %v", drawn, err)
	}
	for _, bad := range []string{"", "1,2 3,4", "1,2 3,4 5", "1,2 3,4 x,y"} {
		if _, err := DrawnOutline(bad); err == nil {
			t.Errorf("%q is an outline", bad)
		}
	}
	if _, err := AreaOutline("somewhere", middle, none, none); err == nil {
		t.Error("no such area")
	}
}

func TestTell(t *testing.T) {
	var at Arrival
	for _, a := range []rack.Area{{Name: WholePanel}, {Name: "brace", OutlineMM: [][2]float64{{0, 0}, {9, 0}, {9, 9}}}, {Name: WholePanel, Behind: true, ReachMM: 400}} {
		if err := at.Tell(a); err != nil {
			t.Fatal(err)
		}
	}
	// What is told again lies over the rest.
	if n := len(at.Behind.Areas); n != 2 || !at.Behind.At(5, 2).Behind || at.Behind.At(5, 2).ReachMM != 400 {
		t.Errorf("%+v", at.Behind)
	}
	if err := at.Tell(rack.Area{Name: "far", Behind: true, ReachMM: 99999}); err == nil || len(at.Behind.Areas) != 2 {
		t.Errorf("a reach of 100 m: %v, %+v", err, at.Behind)
	}
	at.Forget(WholePanel)
	at.Forget("brace")
	// Nothing told is as before anything was told: the documents of old jobs.
	if doc, err := json.Marshal(at); err != nil || string(doc) != `{"consent":{}}` {
		t.Errorf("%s, %v", doc, err)
	}
}
