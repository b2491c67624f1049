// Package heif decodes HEIC photos by libheif 1.18.2 and libde265 1.0.15, which run as WebAssembly in a sandbox of bounded memory and time.
//
// In: the bytes of a file. Out: its size, or its pixels, turned by the container's own rotation. Foreign code never runs outside the
// sandbox, whatever libraries the computer has.
//
// The module heif.wasm.gz, its source heif.c.txt and the Makefile.txt by which it is built are those of github.com/gen2brain/heic v0.4.5
// (MIT, LICENSE.heic); the libraries inside are LGPL-3 (LICENSE.libheif, LICENSE.libde265).
package heif

import (
	"bytes"
	"compress/gzip"
	"context"
	_ "embed"
	"encoding/binary"
	"errors"
	"fmt"
	"image"
	"image/color"
	"io"
	"sync"
	"time"

	"github.com/tetratelabs/wazero"
	"github.com/tetratelabs/wazero/api"
	"github.com/tetratelabs/wazero/imports/wasi_snapshot_preview1"
)

//go:embed heif.wasm.gz
var packed []byte

// maxPages of 64 kB bound the memory of a sandbox: 1 GB. A photo of 64 megapixels takes less than half of it.
const maxPages = 16 << 10

// slots are how many photos are decoded at a time, so that their sandboxes cannot take all of the computer's memory.
const slots = 4

// longest is how long somebody waits for a photo, slot and decoding together: 50 megapixels take half a minute on a slow computer. The
// sandbox cannot be stopped from outside at a bearable price (checks in its loops make photos take eight times as long), so that a photo
// that would never end keeps its slot.
const longest = 3 * time.Minute

// ErrDamaged says that the bytes are no HEIC photo that can be decoded.
var ErrDamaged = errors.New("it is damaged, or of a kind that is not known")

// errLong says that somebody waited too long.
var errLong = errors.New("decoding it takes too long")

// What the module says of a picture's form; of libheif's heif_colorspace and heif_chroma.
const (
	ycbcr, rgb, grey    = 0, 1, 2
	in420, in422, in444 = 1, 2, 3
)

// align is the step of the length of a row in bytes, least how many pixels a row has room for at least: libheif 1.18, pixelimage.cc.
const align, least = 16, 64

// sandbox is the compiled module.
type sandbox struct {
	runtime wazero.Runtime
	module  wazero.CompiledModule
}

// compile takes a second or two, once.
var compile = sync.OnceValues(func() (sandbox, error) {
	ctx := context.Background()
	z, err := gzip.NewReader(bytes.NewReader(packed))
	if err != nil {
		return sandbox{}, err
	}
	code, err := io.ReadAll(z)
	if err != nil {
		return sandbox{}, err
	}
	s := sandbox{runtime: wazero.NewRuntimeWithConfig(ctx, wazero.NewRuntimeConfig().WithMemoryLimitPages(maxPages))}
	if _, err := wasi_snapshot_preview1.Instantiate(ctx, s.runtime); err != nil {
		return s, err
	}
	s.module, err = s.runtime.CompileModule(ctx, code)
	return s, err
})

// call is one use of the module, which is thrown away afterwards.
type call struct {
	ctx  context.Context
	mod  api.Module
	in   uint64 // where the file lies
	size uint64
	facts
	factsAt uint64
}

// facts are what the module tells of a picture.
type facts struct {
	Width, Height, Space, Chroma, Premultiplied uint32
}

var free = make(chan struct{}, slots)

// use begins a call with a file in the sandbox and its facts read. What f makes is given out only when it is done in time.
func use[T any](data []byte, f func(c *call) (T, error)) (out T, err error) {
	ctx, stop := context.WithTimeout(context.Background(), longest)
	defer stop()
	select {
	case free <- struct{}{}:
	case <-ctx.Done():
		return out, errLong
	}
	type made struct {
		out T
		err error
	}
	done := make(chan made, 1)
	go func() {
		defer func() { <-free }()
		out, err := inside(data, f)
		done <- made{out, err}
	}()
	select {
	case m := <-done:
		return m.out, m.err
	case <-ctx.Done():
		return out, errLong
	}
}

func inside[T any](data []byte, f func(c *call) (T, error)) (out T, err error) {
	ctx := context.Background()
	s, err := compile()
	if err != nil {
		return out, err
	}
	mod, err := s.runtime.InstantiateModule(ctx, s.module, wazero.NewModuleConfig())
	if err != nil {
		return out, err
	}
	defer mod.Close(ctx)
	c := &call{ctx: ctx, mod: mod, size: uint64(len(data))}
	if c.in, err = c.put(data); err != nil {
		return out, err
	}
	if c.factsAt, err = c.alloc(uint64(binary.Size(c.facts))); err != nil {
		return out, err
	}
	if err := c.decode(true, 0); err != nil {
		return out, err
	}
	return f(c)
}

func (c *call) alloc(n uint64) (at uint64, err error) {
	r, err := c.mod.ExportedFunction("malloc").Call(c.ctx, n)
	if err == nil && r[0] == 0 && n > 0 {
		err = errors.New("it takes more memory than a photo may")
	}
	if err != nil {
		return 0, err
	}
	return r[0], nil
}

func (c *call) put(data []byte) (at uint64, err error) {
	if at, err = c.alloc(uint64(len(data))); err == nil && !c.mod.Memory().Write(uint32(at), data) {
		err = ErrDamaged
	}
	return at, err
}

// decode reads the facts, and the pixels to an address where not only the facts are asked for.
func (c *call) decode(factsOnly bool, to uint64) error {
	only := uint64(0)
	if factsOnly {
		only = 1
	}
	at := c.factsAt
	r, err := c.mod.ExportedFunction("decode").Call(c.ctx, c.in, c.size, only, at, at+4, at+8, at+12, at+16, to)
	if err != nil {
		// A trap: the module met what it does not know how to refuse.
		return fmt.Errorf("%w (%.100s)", ErrDamaged, err)
	}
	raw, ok := c.mod.Memory().Read(uint32(at), uint32(binary.Size(c.facts)))
	if r[0] == 0 || !ok {
		return ErrDamaged
	}
	_, err = binary.Decode(raw, binary.LittleEndian, &c.facts)
	return err
}

// model is how the pixels of a picture are kept.
func (f facts) model() color.Model {
	switch {
	case f.Space == ycbcr:
		return color.YCbCrModel
	case f.Space == grey:
		return color.GrayModel
	case f.Premultiplied == 1:
		return color.RGBAModel
	}
	return color.NRGBAModel
}

// Config tells size and colours of a photo without decoding it.
func Config(data []byte) (image.Config, error) {
	return use(data, func(c *call) (image.Config, error) {
		return image.Config{Width: int(c.Width), Height: int(c.Height), ColorModel: c.model()}, nil
	})
}

// Decode decodes a photo of at most so many pixels.
func Decode(data []byte, most int) (image.Image, error) {
	return use(data, func(c *call) (image.Image, error) {
		if c.Width == 0 || c.Height == 0 || int64(c.Width)*int64(c.Height) > int64(most) {
			return nil, ErrDamaged
		}
		return c.pixels()
	})
}

func (c *call) pixels() (image.Image, error) {
	w, h := int(c.Width), int(c.Height)
	rect := image.Rect(0, 0, w, h)
	stride, cstride, ch, ratio := row(w, 1), 0, 0, image.YCbCrSubsampleRatio444
	switch {
	case c.Space == ycbcr && c.Chroma == in420:
		cstride, ch, ratio = row((w+1)/2, 1), (h+1)/2, image.YCbCrSubsampleRatio420
	case c.Space == ycbcr && c.Chroma == in422:
		cstride, ch, ratio = row((w+1)/2, 1), h, image.YCbCrSubsampleRatio422
	case c.Space == ycbcr && c.Chroma == in444:
		cstride, ch = stride, h
	case c.Space == rgb:
		stride = row(w, 4)
	case c.Space != grey:
		return nil, ErrDamaged
	}
	y, size := stride*h, stride*h+2*cstride*ch
	at, err := c.alloc(uint64(size))
	if err != nil {
		return nil, err
	}
	was := c.facts
	if err := c.decode(false, at); err != nil {
		return nil, err
	}
	inside, ok := c.mod.Memory().Read(uint32(at), uint32(size))
	if !ok || c.facts != was {
		return nil, ErrDamaged
	}
	pix := bytes.Clone(inside) // the sandbox goes
	switch {
	case c.Space == ycbcr:
		return &image.YCbCr{Y: pix[:y:y], Cb: pix[y : y+cstride*ch : y+cstride*ch], Cr: pix[y+cstride*ch:], YStride: stride, CStride: cstride, SubsampleRatio: ratio, Rect: rect}, nil
	case c.Space == grey:
		return &image.Gray{Pix: pix, Stride: stride, Rect: rect}, nil
	case c.Premultiplied == 1:
		return &image.RGBA{Pix: pix, Stride: stride, Rect: rect}, nil
	}
	return &image.NRGBA{Pix: pix, Stride: stride, Rect: rect}, nil
}

// row is the length of a row of n pixels of some bytes each, as libheif keeps it.
func row(n, each int) int {
	return (max(n+n%2, least)*each + align - 1) / align * align
}
