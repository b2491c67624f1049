// Package export writes a measured surface in open formats for other programs: X3P (ISO 25178-72), float TIFF, PLY and STL
// meshes, CSV.
//
// In: a surface (mm, NaN where not measured). Out: bytes to a writer. Heights are deviations from the undamaged form; meshes may
// exaggerate them.
package export

import (
	"bufio"
	"encoding/binary"
	"fmt"
	"io"
	"math"
	"strconv"

	"fairmetal/surface"
)

// CSV writes x_mm,y_mm,height_um,sigma_um, a line for each measured cell.
func CSV(w io.Writer, s *surface.Surface) error {
	b := bufio.NewWriter(w)
	b.WriteString("x_mm,y_mm,height_um,sigma_um\n")
	var line []byte
	for i, h := range s.Height {
		if h != h {
			continue
		}
		x, y := s.XY(i%s.Cols, i/s.Cols)
		line = strconv.AppendFloat(line[:0], x, 'f', -1, 64)
		line = append(line, ',')
		line = strconv.AppendFloat(line, y, 'f', -1, 64)
		line = append(line, ',')
		line = strconv.AppendFloat(line, 1000*float64(h), 'f', 3, 64)
		line = append(line, ',')
		if g := s.Sigma[i]; g == g {
			line = strconv.AppendFloat(line, 1000*float64(g), 'f', 3, 64)
		}
		b.Write(append(line, '\n'))
	}
	return b.Flush()
}

// mesh lists the corners and the triangles of the measured part, the diagonal the same way in each square, counter-clockwise from +z.
func mesh(s *surface.Surface, scale float64) (points [][3]float32, faces [][3]uint32) {
	at := make([]int32, s.Len())
	for i, h := range s.Height {
		at[i] = -1
		if h == h {
			x, y := s.XY(i%s.Cols, i/s.Cols)
			at[i] = int32(len(points))
			points = append(points, [3]float32{float32(x), float32(y), float32(scale * float64(h))})
		}
	}
	face := func(a, b, c int32) {
		if a >= 0 && b >= 0 && c >= 0 {
			faces = append(faces, [3]uint32{uint32(a), uint32(b), uint32(c)})
		}
	}
	for r := range s.Rows - 1 {
		for c := range s.Cols - 1 {
			i := r*s.Cols + c
			face(at[i], at[i+1], at[i+s.Cols+1])
			face(at[i], at[i+s.Cols+1], at[i+s.Cols])
		}
	}
	return points, faces
}

// PLY writes a binary little-endian mesh, lengths in mm, heights times scale.
func PLY(w io.Writer, s *surface.Surface, scale float64) error {
	points, faces := mesh(s, scale)
	b := bufio.NewWriter(w)
	fmt.Fprintf(b, "ply\nformat binary_little_endian 1.0\ncomment lengths in mm, heights times %g\nelement vertex %d\nproperty float x\nproperty float y\nproperty float z\nelement face %d\nproperty list uchar uint vertex_indices\nend_header\n",
		scale, len(points), len(faces))
	var rec [13]byte
	for _, p := range points {
		for k, v := range p {
			binary.LittleEndian.PutUint32(rec[4*k:], math.Float32bits(v))
		}
		b.Write(rec[:12])
	}
	for _, f := range faces {
		rec[0] = 3
		for k, v := range f {
			binary.LittleEndian.PutUint32(rec[1+4*k:], v)
		}
		b.Write(rec[:])
	}
	return b.Flush()
}

// STL writes a binary mesh, lengths in mm, heights times scale.
func STL(w io.Writer, s *surface.Surface, scale float64) error {
	points, faces := mesh(s, scale)
	b := bufio.NewWriter(w)
	var head [84]byte
	copy(head[:], "lengths in mm")
	binary.LittleEndian.PutUint32(head[80:], uint32(len(faces)))
	b.Write(head[:])
	var rec [50]byte
	for _, f := range faces {
		p, q, r := points[f[0]], points[f[1]], points[f[2]]
		u := [3]float64{float64(q[0] - p[0]), float64(q[1] - p[1]), float64(q[2] - p[2])}
		v := [3]float64{float64(r[0] - p[0]), float64(r[1] - p[1]), float64(r[2] - p[2])}
		n := [3]float64{u[1]*v[2] - u[2]*v[1], u[2]*v[0] - u[0]*v[2], u[0]*v[1] - u[1]*v[0]}
		l := math.Sqrt(n[0]*n[0] + n[1]*n[1] + n[2]*n[2])
		for k := range 3 {
			binary.LittleEndian.PutUint32(rec[4*k:], math.Float32bits(float32(n[k]/l)))
			binary.LittleEndian.PutUint32(rec[12+4*k:], math.Float32bits(p[k]))
			binary.LittleEndian.PutUint32(rec[24+4*k:], math.Float32bits(q[k]))
			binary.LittleEndian.PutUint32(rec[36+4*k:], math.Float32bits(r[k]))
		}
		b.Write(rec[:])
	}
	return b.Flush()
}
