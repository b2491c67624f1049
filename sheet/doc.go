// Package sheet bends sheet metal past yield: an elastic-plastic, thin, gently curved round sheet that is pushed, pulled or dented at its
// middle and let go.
//
// In: a material, thickness, crown and support, and a sequence of loads. Out, for each load: the height under load, the height that
// stays, the form of the bump, the strain of the painted face.
//
// Model: shallow shell of revolution with moderate rotations (von Karman's strains about a shallow form, Marguerre), Kirchhoff sections
// in layers, plane-stress J2 plasticity with isotropic hardening, cubic Hermite elements for both displacements, Newton's method with
// load steps that halve where they must. A square sheet is taken as the round one of equal stiffness under a point load.
//
// Axes: r outwards from the load, +z out of the panel (the painted front). Units mm, N, MPa.
package sheet
