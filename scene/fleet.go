package scene

// Named is a capture of the demo fleet.
type Named struct {
	Key  string // file name
	Spec Spec
}

// Fleet returns the captures of our invented delivery vans, at the places of a job where something is to be seen: a new
// hail-struck roof, four neighbours on a bonnet, a door before and after raising, a tailgate before and after the whole job, and a
// wing whose scrape is too sharp to be done without paint.
func Fleet() []Named {
	return []Named{
		{"roof-hail", roof()},
		{"bonnet-four", bonnet()},
		{"door-before", door(doorBefore(), 0)},
		{"door-raised", door(doorRaised(), 1)},
		{"tailgate-before", tailgate(tailgateBefore(), 0)},
		{"tailgate-done", tailgate(tailgateDone(), 1)},
		{"wing-scrape", wing()},
	}
}

// Size of the demo's photos: small enough to be rendered and measured in seconds.
const demoW, demoH, demoFocal = 960, 720, 770.0

func cards(half float64) [2]Card {
	return [2]Card{
		{SideMM: 40, XMM: -half, AngleDeg: 1.5, LiftMM: 0.2},
		{SideMM: 40, XMM: half, AngleDeg: -2.2, LiftMM: 0.2},
	}
}

func camera(tilt, turn, distance float64) Camera {
	return Camera{DistanceMM: distance, TiltDeg: tilt, TurnDeg: turn, AimMM: [2]float64{0, 6}, FocalPX: demoFocal, W: demoW, H: demoH, Jitter: 0.01, BlurPX: 0.5}
}

func shifted() []Set { return []Set{{Kind: "shifted", FineMM: 16, CoarseMM: 128}} }

func roof() Spec {
	return Spec{
		Name: "Van 12, roof: hail",
		Seed: 12,
		Panel: Panel{Name: "Roof, van 12", Material: "steel", ThicknessMM: 0.65, RXMM: 7200, RYMM: 4100, TwistPerMM: 4e-6, Cubic: [4]float64{0, 0, 0, 6e-8}, PeelUM: 0.6,
			Marks: []Mark{
				{ID: "h01", Kind: "round", XMM: -88, YMM: 46, LengthMM: 19, WidthMM: 18, DepthUM: 190, CrownUM: 8, AngleDeg: 20},
				{ID: "h02", Kind: "round", XMM: -52, YMM: 58, LengthMM: 12, WidthMM: 11, DepthUM: 85, CrownUM: 4},
				{ID: "h03", Kind: "round", XMM: -70, YMM: -8, LengthMM: 24, WidthMM: 22, DepthUM: 310, CrownUM: 15, AngleDeg: 70},
				{ID: "h04", Kind: "round", XMM: -38, YMM: 20, LengthMM: 15, WidthMM: 15, DepthUM: 140, CrownUM: 6},
				{ID: "h05", Kind: "round", XMM: -28, YMM: -44, LengthMM: 17, WidthMM: 16, DepthUM: 165, CrownUM: 7, AngleDeg: 110},
				{ID: "h06", Kind: "round", XMM: -4, YMM: 48, LengthMM: 21, WidthMM: 20, DepthUM: 230, CrownUM: 11},
				{ID: "h07", Kind: "round", XMM: 2, YMM: -6, LengthMM: 13, WidthMM: 12, DepthUM: 95, CrownUM: 4},
				{ID: "h08", Kind: "round", XMM: 22, YMM: -52, LengthMM: 10, WidthMM: 10, DepthUM: 62, CrownUM: 3},
				{ID: "h09", Kind: "round", XMM: 34, YMM: 26, LengthMM: 18, WidthMM: 17, DepthUM: 175, CrownUM: 8, AngleDeg: 40},
				{ID: "h10", Kind: "round", XMM: 52, YMM: -22, LengthMM: 22, WidthMM: 21, DepthUM: 265, CrownUM: 12},
				{ID: "h11", Kind: "round", XMM: 62, YMM: 54, LengthMM: 11, WidthMM: 10, DepthUM: 70, CrownUM: 3},
				{ID: "h12", Kind: "round", XMM: 84, YMM: 14, LengthMM: 16, WidthMM: 15, DepthUM: 150, CrownUM: 7},
				{ID: "h13", Kind: "round", XMM: 88, YMM: -48, LengthMM: 20, WidthMM: 18, DepthUM: 205, CrownUM: 9, AngleDeg: 150},
				{ID: "h14", Kind: "round", XMM: -94, YMM: -52, LengthMM: 9, WidthMM: 9, DepthUM: 52, CrownUM: 2},
			}},
		Paint:  Paint{Name: "silver metallic", Albedo: [3]float64{0.11, 0.11, 0.115}, Flake: 0.3},
		Board:  Board{DistanceMM: 480, TapedMM: 482, WidthMM: 900, HeightMM: 700, TiltDeg: [2]float64{1.2, -0.8}, RollDeg: 0.6, OffsetMM: [2]float64{6, -10}, RoomLevel: 0.05},
		Cards:  cards(140),
		Camera: camera(36, 4, 450),
		Sets:   shifted(),
	}
}

func bonnet() Spec {
	return Spec{
		Name: "Van 03, bonnet: four neighbours",
		Seed: 3,
		Panel: Panel{Name: "Bonnet, van 03", Material: "steel", ThicknessMM: 0.7, RXMM: 3100, RYMM: 1900, TwistPerMM: -9e-6, PeelUM: 0.5,
			Folds: []Fold{{AngleDeg: 92, OffsetMM: 44, Step: -0.07, WidthMM: 6}},
			Marks: []Mark{
				{ID: "n1", Kind: "star", XMM: -42, YMM: -12, LengthMM: 38, WidthMM: 36, DepthUM: 820, CrownUM: 50, AngleDeg: 15, Arms: 3},
				{ID: "n2", Kind: "round", XMM: 6, YMM: 6, LengthMM: 25, WidthMM: 22, DepthUM: 420, CrownUM: 35, AngleDeg: 60},
				{ID: "n3", Kind: "line", XMM: 54, YMM: 45, LengthMM: 26, WidthMM: 20, DepthUM: 330, CrownUM: 20, AngleDeg: 80},
				{ID: "n4", Kind: "crease", XMM: 46, YMM: -28, LengthMM: 40, WidthMM: 15, DepthUM: 210, CrownUM: 14, AngleDeg: 155},
			}},
		Paint:  Paint{Name: "dark blue", Albedo: [3]float64{0.01, 0.016, 0.07}},
		Board:  Board{DistanceMM: 300, TapedMM: 299, WidthMM: 1000, HeightMM: 800, TiltDeg: [2]float64{-1, 1.5}, RollDeg: -0.8, OffsetMM: [2]float64{-4, 6}, RoomLevel: 0.04},
		Cards:  cards(140),
		Camera: camera(34, -3, 440),
		Sets:   shifted(),
	}
}

func doorBefore() []Mark {
	return []Mark{
		{ID: "d1", Kind: "round", XMM: -22, YMM: 4, LengthMM: 40, WidthMM: 36, DepthUM: 900, CrownUM: 48, AngleDeg: 30},
		{ID: "d2", Kind: "round", XMM: 38, YMM: -16, LengthMM: 24, WidthMM: 22, DepthUM: 380, CrownUM: 26, AngleDeg: 100},
	}
}

func doorRaised() []Mark {
	return []Mark{
		{ID: "d1", Kind: "round", XMM: -22, YMM: 4, LengthMM: 32, WidthMM: 28, DepthUM: 190, CrownUM: 44, AngleDeg: 30},
		{ID: "d2", Kind: "round", XMM: 38, YMM: -16, LengthMM: 20, WidthMM: 18, DepthUM: 85, CrownUM: 20, AngleDeg: 100},
		{ID: "d3", Kind: "high", XMM: -50, YMM: 16, LengthMM: 9, WidthMM: 8, DepthUM: 48, AngleDeg: 10},
		{ID: "d4", Kind: "high", XMM: 6, YMM: 22, LengthMM: 8, WidthMM: 7, DepthUM: 36, AngleDeg: 70},
	}
}

// door is seen from two places: pass 1 with camera and board set up anew.
func door(marks []Mark, pass int) Spec {
	s := Spec{
		Name:   "Van 09, front door: before",
		Seed:   90 + uint64(pass),
		Panel:  Panel{Name: "Front door, left, van 09", Material: "steel", ThicknessMM: 0.7, RXMM: 3600, RYMM: 1750, TwistPerMM: 8e-6, PeelUM: 0.45, Marks: marks},
		Paint:  Paint{Name: "black", Albedo: [3]float64{0.006, 0.006, 0.007}},
		Board:  Board{DistanceMM: 400, TapedMM: 402, WidthMM: 900, HeightMM: 700, TiltDeg: [2]float64{0.8, 0.5}, RollDeg: 0.3, OffsetMM: [2]float64{8, -6}, RoomLevel: 0.05},
		Cards:  cards(145),
		Camera: camera(33, 5, 435),
		Sets:   shifted(),
	}
	if pass == 1 {
		s.Name = "Van 09, front door: after raising"
		s.Board.DistanceMM, s.Board.TapedMM, s.Board.TiltDeg = 450, 447, [2]float64{-1.4, -1.1}
		s.Camera = camera(38, -8, 455)
	}
	return s
}

func tailgateBefore() []Mark {
	return []Mark{
		{ID: "t1", Kind: "round", XMM: 14, YMM: 10, LengthMM: 34, WidthMM: 31, DepthUM: 620, CrownUM: 34, AngleDeg: 140},
		{ID: "t2", Kind: "crease", XMM: -44, YMM: -14, LengthMM: 36, WidthMM: 14, DepthUM: 160, CrownUM: 10, AngleDeg: 35},
	}
}

func tailgateDone() []Mark {
	return []Mark{
		{ID: "t3", Kind: "high", XMM: 20, YMM: 2, LengthMM: 6, WidthMM: 5, DepthUM: 5},
		{ID: "t4", Kind: "round", XMM: -40, YMM: -10, LengthMM: 7, WidthMM: 6, DepthUM: 6},
	}
}

func tailgate(marks []Mark, pass int) Spec {
	s := Spec{
		Name:   "Van 05, tailgate: before",
		Seed:   50 + uint64(pass),
		Panel:  Panel{Name: "Tailgate, van 05", Material: "aluminium", ThicknessMM: 1.0, RXMM: 5200, RYMM: 2600, TwistPerMM: -5e-6, PeelUM: 0.5, Marks: marks},
		Paint:  Paint{Name: "white", Albedo: [3]float64{0.7, 0.71, 0.7}},
		Board:  Board{DistanceMM: 450, TapedMM: 448, WidthMM: 900, HeightMM: 700, TiltDeg: [2]float64{0.4, -1.2}, RollDeg: -0.5, OffsetMM: [2]float64{-8, 4}, RoomLevel: 0.02},
		Cards:  cards(142),
		Camera: camera(35, 2, 445),
		Sets:   shifted(),
	}
	if pass == 1 {
		s.Name = "Van 05, tailgate: finished"
		s.Camera = camera(32, -5, 450)
		s.Board.DistanceMM, s.Board.TapedMM = 470, 472
	}
	return s
}

func wing() Spec {
	return Spec{
		Name: "Van 21, wing: scrape",
		Seed: 21,
		Panel: Panel{Name: "Front wing, right, van 21", Material: "steel", ThicknessMM: 0.7, RXMM: 2400, RYMM: 1500, TwistPerMM: 1.1e-5, PeelUM: 0.6,
			Marks: []Mark{{ID: "w1", Kind: "crease", XMM: 8, YMM: -2, LengthMM: 52, WidthMM: 11, DepthUM: 620, CrownUM: 60, AngleDeg: 20}}},
		Paint:  Paint{Name: "red", Albedo: [3]float64{0.25, 0.015, 0.012}},
		Board:  Board{DistanceMM: 300, TapedMM: 302, WidthMM: 1000, HeightMM: 800, TiltDeg: [2]float64{1, 1}, OffsetMM: [2]float64{4, -4}, RoomLevel: 0.04},
		Cards:  cards(140),
		Camera: camera(34, 6, 435),
		Sets:   shifted(),
	}
}
