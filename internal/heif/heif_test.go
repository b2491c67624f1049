package heif

import (
	"errors"
	"image"
	"testing"

	"fairmetal/internal/hostile"
)

var size = map[string][2]int{"colour": {64, 48}, "full": {64, 48}, "turned": {64, 48}, "alpha": {32, 32}}

// TestDecode: pictures that an independent encoder made, in every form that it makes of colour.
func TestDecode(t *testing.T) {
	for name, data := range hostile.HEICs() {
		cfg, err := Config(data)
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		m, err := Decode(data, 64*48)
		if err != nil || m.Bounds() != image.Rect(0, 0, cfg.Width, cfg.Height) || m.ColorModel() != cfg.ColorModel {
			t.Errorf("%s: %v, %+v", name, err, cfg)
			continue
		}
		if want := size[name]; cfg.Width != want[0] || cfg.Height != want[1] {
			t.Errorf("%s: %d x %d", name, cfg.Width, cfg.Height)
		}
		if name == "alpha" {
			continue
		}
		// 230, 228, 220 and 65, 65, 70 were packed: every colour must be near, so that the planes lie where they are looked for.
		for at, want := range map[image.Point][3]uint32{{3, 3}: {230, 228, 220}, {30, 44}: {90, 90, 70}} {
			r, g, b, _ := m.At(at.X, at.Y).RGBA()
			for i, v := range []uint32{r >> 8, g >> 8, b >> 8} {
				if max(v, want[i])-min(v, want[i]) > 32 {
					t.Errorf("%s at %v: %d, %d, %d, want %v", name, at, r>>8, g>>8, b>>8, want)
					break
				}
			}
		}
		if _, err := Decode(data, 64*48-1); !errors.Is(err, ErrDamaged) {
			t.Errorf("%s: the limit of pixels does not hold: %v", name, err)
		}
	}
}

// TestLyingHead: a head that promises less or more than is packed makes the module write or read outside the picture. It stays in the
// sandbox, and the next photo meets a new one.
func TestLyingHead(t *testing.T) {
	good := hostile.HEICs()["colour"]
	for _, side := range []int{16, 8000} {
		if m, err := Decode(hostile.Promise(good, uint32(side), uint32(side)), 64_000_000); err == nil && m.Bounds() != image.Rect(0, 0, side, side) {
			t.Errorf("%v", m.Bounds())
		}
	}
	if _, err := Decode(good, 1<<20); err != nil {
		t.Error(err)
	}
}

// TestMemory: the sandbox ends where its memory does.
func TestMemory(t *testing.T) {
	_, err := use(hostile.HEICs()["colour"], func(c *call) (uint64, error) {
		if _, ok := c.mod.Memory().Grow(maxPages); ok {
			t.Error("the sandbox grew over its bound")
		}
		return c.alloc(maxPages << 16)
	})
	if err == nil {
		t.Error("the module got more memory than there is")
	}
}

// TestBusy: a photo waits for a slot.
func TestBusy(t *testing.T) {
	hold, held := make(chan struct{}), make(chan struct{})
	for range slots {
		go use(hostile.HEICs()["colour"], func(*call) (int, error) {
			held <- struct{}{}
			<-hold
			return 0, nil
		})
		<-held
	}
	done := make(chan error)
	go func() {
		_, err := Config(hostile.HEICs()["colour"])
		done <- err
	}()
	select {
	case err := <-done:
		t.Errorf("more than %d at a time: %v", slots, err)
	default:
	}
	close(hold)
	if err := <-done; err != nil {
		t.Error(err)
	}
}
