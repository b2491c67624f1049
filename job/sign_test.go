package job

import (
	"strings"
	"testing"
	"time"
)

func TestSign(t *testing.T) {
	at := time.Date(2026, 3, 4, 5, 6, 7, 8, time.UTC)
	s, err := Sign("I agree.", " Ada Example ", `[[[1.23,4.56],[99.94,3]],[[50,50]]]`, at)
	if err != nil || !s.Given() || s.Name != "Ada Example" || len(s.Strokes) != 2 || s.Strokes[0][1] != (Stroke{99.9, 3}) {
		t.Errorf("%+v, %v", s, err)
	}
	if s, err := Sign("I agree.", "Ada", "", at); err != nil || !s.Given() || len(s.Strokes) != 0 {
		t.Errorf("typed: %+v, %v", s, err)
	}
	for name, c := range map[string][2]string{"nobody": {"", "[]"}, "no JSON": {"Ada", "hello"}, "off the pad": {"Ada", "[[[1,1e9]]]"}, "endless": {"Ada", "[[" + strings.Repeat("[1,1],", maxPoints+1) + "[1,1]]]"}} {
		if s, err := Sign("I agree.", c[0], c[1], at); err == nil || s.Given() {
			t.Errorf("%s was taken as signed", name)
		}
	}
}
