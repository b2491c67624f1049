package shot

import "testing"

// TestUsualCases: every usual flaw stands out of the noise on every kind of panel, with stripes that can be read, and the sharp one asks for
// a set while the wide one does not.
func TestUsualCases(t *testing.T) {
	for _, kind := range []string{"", "roof", "door", "bonnet", "wing", "tailgate", "quarter"} {
		want := map[string]string{"wide": "single", "sharp": "shifted"}
		for _, c := range Cases {
			a := Ask(c.Flaw, Usual(kind))
			if a.SeenUM > c.DepthUM || a.StripePX < leastStripePX {
				t.Errorf("%s on %q: %+v", c.Key, kind, a)
			}
			if w := want[c.Key]; w != "" && a.Kind != w {
				t.Errorf("%s on %q asks for %s", c.Key, kind, a.Kind)
			}
		}
	}
}
