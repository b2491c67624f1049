package scene

import "gonum.org/v1/gonum/spatial/r3"

// Spec is everything about one capture.
type Spec struct {
	Name   string
	Panel  Panel
	Paint  Paint
	Board  Board
	Cards  [2]Card // A and B
	Camera Camera
	Sets   []Set
	Seed   uint64
}

// Panel is the metal: an undamaged form with its deviation from it.
type Panel struct {
	Name        string
	Material    string // steel or aluminium
	ThicknessMM float64
	// RXMM and RYMM are the crown's radii (positive bulges), TwistPerMM d2z/dxdy; Cubic the terms x^3, x^2y, xy^2, y^3 in 1/mm^2.
	RXMM, RYMM, TwistPerMM float64
	Cubic                  [4]float64
	Folds                  []Fold
	Marks                  []Mark
	// Extra, which may be nil, is any further deviation, mm: a simulated repair for example.
	Extra func(x, y float64) float64
	// PeelUM is the rms of orange peel, waves of 1 to 8 mm.
	PeelUM float64
	// HalfX and HalfY bound the panel, mm; beyond it the picture is dark. 0: no bound.
	HalfX, HalfY float64
	Covers       []Cover
}

// Cover is a place without paint: a hole, or a dull thing on the panel, as trim, a seal or tape.
type Cover struct {
	XMM, YMM          float64
	LengthMM, WidthMM float64
	AngleDeg          float64 // of its length from +x
	Round             bool    // an ellipse, else a rectangle
	Albedo            float64 // of its surface; 0: a hole
}

// Fold is a feature line: the slope across the line n.(x, y) = OffsetMM changes by Step within about WidthMM.
type Fold struct {
	AngleDeg float64 // of the line's normal n from +x
	OffsetMM float64
	Step     float64
	WidthMM  float64
}

// Mark is one flaw: Kind round, crease, star, line or high; length and width are those of its outline at a tenth of its depth.
type Mark struct {
	ID       string
	Kind     string
	XMM, YMM float64
	LengthMM float64
	WidthMM  float64
	DepthUM  float64
	CrownUM  float64 // raised rim
	AngleDeg float64
	Arms     int     // of a star
	Sharp    float64 // 0 a bowl, 1 a pointed tent
}

// Paint is the film on the metal.
type Paint struct {
	Name   string
	Albedo [3]float64 // of the base coat, linear RGB
	Flake  float64    // contrast of metallic flakes in the base coat
	Index  float64    // refractive index of the clear coat; 0: 1.5
}

// Board is the striped board; its nominal place is square to the mirrored line of sight of the panel's origin.
type Board struct {
	DistanceMM        float64 // true distance of its centre from the origin
	TapedMM           float64 // what the technician wrote down; 0: the true distance
	WidthMM, HeightMM float64
	TiltDeg           [2]float64 // about its own u and v axes
	RollDeg           float64
	OffsetMM          [2]float64 // sideways along u and v
	Level             float64    // mean brightness; 0: 1
	Contrast          float64    // of the stripes; 0: 0.95
	Gamma             float64    // of the display against what is asked, 0: 1
	RoomLevel         float64    // brightness of the room beside it
	Lamps             []Lamp     // beside it
}

// Lamp is a bright rectangle in the board's plane, where the board does not hide it: a lamp or a window that glares in the paint.
type Lamp struct {
	UMM, VMM          float64 // of its middle from the board's
	WidthMM, HeightMM float64
	Level             float64 // brightness, the board's being Level
}

// Card is a scale card as it lies.
type Card struct {
	SideMM   float64
	XMM, YMM float64
	AngleDeg float64
	LiftMM   float64
	Missing  bool
}

// Camera is a pinhole with an optional radial distortion.
type Camera struct {
	DistanceMM float64 // from the origin
	// TiltDeg is the angle from the panel's normal; TurnDeg the direction it stands in, 0 at -y, positive towards +x.
	TiltDeg, TurnDeg, RollDeg float64
	AimMM                     [2]float64 // the point of the panel it looks at
	FocalPX                   float64
	ToldFocalPX               float64 // what capture.json and EXIF say of it; 0: the truth
	W, H                      int
	K1                        float64 // radial distortion: r (1 + K1 r^2), r in focal lengths
	BlurPX                    float64 // Gaussian defocus, standard deviation
	ShakePX                   float64 // rms of the camera's wander between photos
	Exposure                  float64 // 0: chosen so that the brightest stripe is well below white
	Jitter                    float64 // rms of exposure between photos
	FullWell                  float64 // electrons at white; 0: 40000
	Quality                   int     // JPEG; 0: 92
	Orientation               int     // EXIF, 0: 1
	HideLens                  bool    // leave camera out of capture.json: the lens comes from EXIF
}

// Set asks for photos.
type Set struct {
	Kind     string  // shifted, single or sweep
	Profile  string  // sine or square
	FineMM   float64 // pitch
	CoarseMM float64 // second pitch of a shifted set; 0: none
	Steps    int     // shifts a pitch; 0: 4
	Frames   int     // of a sweep, per direction
	Crossed  bool    // a single photo with both directions
}

// placed is a plane in space: centre and axes.
type placed struct {
	c, u, v, n r3.Vec
}
