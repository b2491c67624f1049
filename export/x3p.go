package export

import (
	"archive/zip"
	"bytes"
	"crypto/md5"
	"encoding/binary"
	"encoding/hex"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"math"
	"time"

	"fairmetal/surface"
)

// The parts of main.xml of ISO 25178-72 (from memory) that a surface on a regular grid needs. Lengths in metres.
type x3pAxis struct {
	Type      string  `xml:"AxisType"`
	Data      string  `xml:"DataType,omitempty"`
	Increment float64 `xml:"Increment"`
	Offset    float64 `xml:"Offset"`
}

type x3pMain struct {
	XMLName xml.Name `xml:"p:ISO5436_2"`
	NS      string   `xml:"xmlns:p,attr"`
	XSI     string   `xml:"xmlns:xsi,attr"`
	Schema  string   `xml:"xsi:schemaLocation,attr"`
	Record1 struct {
		Revision string  `xml:"Revision"`
		Feature  string  `xml:"FeatureType"`
		CX       x3pAxis `xml:"Axes>CX"`
		CY       x3pAxis `xml:"Axes>CY"`
		CZ       x3pAxis `xml:"Axes>CZ"`
	} `xml:"Record1"`
	Record2 struct {
		Date       string `xml:"Date"`
		Instrument struct {
			Manufacturer string `xml:"Manufacturer"`
			Model        string `xml:"Model"`
			Serial       string `xml:"Serial"`
			Version      string `xml:"Version"`
		} `xml:"Instrument"`
		Calibration string `xml:"CalibrationDate"`
		Probing     struct {
			Type           string `xml:"Type"`
			Identification string `xml:"Identification"`
		} `xml:"ProbingSystem"`
		Comment string `xml:"Comment"`
	} `xml:"Record2"`
	Record3 struct {
		SizeX int `xml:"MatrixDimension>SizeX"`
		SizeY int `xml:"MatrixDimension>SizeY"`
		SizeZ int `xml:"MatrixDimension>SizeZ"`
		Link  struct {
			Point string `xml:"PointDataLink"`
			MD5   string `xml:"MD5ChecksumPointData"`
		} `xml:"DataLink"`
	} `xml:"Record3"`
	Record4 struct {
		Checksum string `xml:"ChecksumFile"`
	} `xml:"Record4"`
}

const x3pNS = "http://www.opengps.eu/2008/ISO5436_2"

// X3P writes a surface as ISO 25178-72: a zip of main.xml, the heights as doubles in metres (NaN: not measured) and their checksums.
// program names what measured, at is when.
func X3P(w io.Writer, s *surface.Surface, program string, at time.Time) error {
	data := make([]byte, 8*s.Len())
	for i, h := range s.Height {
		binary.LittleEndian.PutUint64(data[8*i:], math.Float64bits(float64(h)/1000))
	}
	sum := md5.Sum(data)
	var m x3pMain
	m.NS, m.XSI, m.Schema = x3pNS, "http://www.w3.org/2001/XMLSchema-instance", x3pNS+" http://www.opengps.eu/2008/ISO5436_2/ISO5436_2.xsd"
	r := &m.Record1
	r.Revision, r.Feature = "ISO5436 - 2000", "SUR"
	r.CX = x3pAxis{"I", "", s.PitchMM / 1000, s.X0MM / 1000}
	r.CY = x3pAxis{"I", "", s.PitchMM / 1000, s.Y0MM / 1000}
	r.CZ = x3pAxis{"A", "D", 1, 0}
	m.Record2.Date = at.UTC().Format(time.RFC3339)
	m.Record2.Calibration = m.Record2.Date
	in := &m.Record2.Instrument
	in.Manufacturer, in.Model, in.Serial, in.Version = "none", "striped board and camera", "none", program
	m.Record2.Probing.Type, m.Record2.Probing.Identification = "NonContacting", "reflection of stripes"
	m.Record2.Comment = "deviation from the undamaged form; rows along +y of the panel frame"
	m.Record3.SizeX, m.Record3.SizeY, m.Record3.SizeZ = s.Cols, s.Rows, 1
	m.Record3.Link.Point, m.Record3.Link.MD5 = "bindata/data.bin", hex.EncodeToString(sum[:])
	m.Record4.Checksum = "md5checksum.hex"
	text, err := xml.MarshalIndent(m, "", " ")
	if err != nil {
		return err
	}
	text = append([]byte(xml.Header), text...)
	mainSum := md5.Sum(text)
	z := zip.NewWriter(w)
	for _, f := range []struct {
		name string
		data []byte
	}{{"main.xml", text}, {"bindata/data.bin", data}, {"md5checksum.hex", []byte(hex.EncodeToString(mainSum[:]) + " *main.xml\n")}} {
		p, err := z.CreateHeader(&zip.FileHeader{Name: f.name, Method: zip.Deflate, Modified: at})
		if err != nil {
			return err
		}
		if _, err := p.Write(f.data); err != nil {
			return err
		}
	}
	return z.Close()
}

// Limits of what is read.
const (
	maxX3PBytes = 256 << 20
	maxX3PCells = 16 << 20
)

// ErrX3P says what is wrong with a file.
var ErrX3P = errors.New("this is no X3P surface that can be read")

func x3pError(format string, a ...any) error {
	return fmt.Errorf("%w: %s; export it again as a surface on a regular grid", ErrX3P, fmt.Sprintf(format, a...))
}

// ReadX3P reads a surface written by X3P, or by another program as a regular grid of doubles or floats. Sigma is unknown (NaN).
func ReadX3P(data []byte) (*surface.Surface, error) {
	z, err := zip.NewReader(bytes.NewReader(data), int64(len(data)))
	if err != nil {
		return nil, x3pError("it is no zip archive")
	}
	file := func(name string) ([]byte, error) {
		for _, f := range z.File {
			if f.Name != name {
				continue
			}
			r, err := f.Open()
			if err != nil {
				return nil, x3pError("%s cannot be unpacked", name)
			}
			defer r.Close()
			b, err := io.ReadAll(io.LimitReader(r, maxX3PBytes+1))
			if err != nil || len(b) > maxX3PBytes {
				return nil, x3pError("%s is torn or too large", name)
			}
			return b, nil
		}
		return nil, x3pError("%s is missing", name)
	}
	text, err := file("main.xml")
	if err != nil {
		return nil, err
	}
	var m struct {
		Record1 struct {
			CX x3pAxis `xml:"Axes>CX"`
			CY x3pAxis `xml:"Axes>CY"`
			CZ x3pAxis `xml:"Axes>CZ"`
		} `xml:"Record1"`
		Record3 struct {
			SizeX int    `xml:"MatrixDimension>SizeX"`
			SizeY int    `xml:"MatrixDimension>SizeY"`
			SizeZ int    `xml:"MatrixDimension>SizeZ"`
			Point string `xml:"DataLink>PointDataLink"`
			MD5   string `xml:"DataLink>MD5ChecksumPointData"`
		} `xml:"Record3"`
	}
	if err := xml.Unmarshal(text, &m); err != nil {
		return nil, x3pError("main.xml cannot be read")
	}
	g := surface.Grid{Cols: m.Record3.SizeX, Rows: m.Record3.SizeY, PitchMM: 1000 * m.Record1.CX.Increment, X0MM: 1000 * m.Record1.CX.Offset, Y0MM: 1000 * m.Record1.CY.Offset}
	switch {
	case g.Cols < 1 || g.Rows < 1 || g.Cols > maxX3PCells || g.Rows > maxX3PCells/g.Cols || m.Record3.SizeZ > 1:
		return nil, x3pError("a grid of %d x %d points is not possible", g.Cols, g.Rows)
	case !(g.PitchMM > 0 && g.PitchMM < 1e4) || math.Abs(m.Record1.CY.Increment/m.Record1.CX.Increment-1) > 1e-6:
		return nil, x3pError("the points do not stand on squares")
	}
	size := 8
	switch m.Record1.CZ.Data {
	case "D":
	case "F":
		size = 4
	default:
		return nil, x3pError("heights of type %q are not known", m.Record1.CZ.Data)
	}
	raw, err := file(m.Record3.Point)
	if err != nil {
		return nil, err
	}
	if len(raw) != size*g.Len() {
		return nil, x3pError("%d bytes of heights where the grid asks for %d", len(raw), size*g.Len())
	}
	if sum := md5.Sum(raw); m.Record3.MD5 != "" && m.Record3.MD5 != hex.EncodeToString(sum[:]) {
		return nil, x3pError("the heights were altered: their checksum differs")
	}
	s := surface.New(g)
	for i := range s.Height {
		if size == 8 {
			s.Height[i] = float32(1000 * math.Float64frombits(binary.LittleEndian.Uint64(raw[8*i:])))
		} else {
			s.Height[i] = 1000 * math.Float32frombits(binary.LittleEndian.Uint32(raw[4*i:]))
		}
	}
	return s, nil
}
