// Package rack holds the technician's own tools with the sizes that the computation needs, finds the one that fits, and knows which
// places of a panel can be reached from behind.
//
// In: JSON of the tools and of the access areas. Out: the tool for a low, a high, a reach, a force. Lengths in mm, forces in N,
// temperatures in degrees Celsius, angles in degrees.
//
// The default rack uses plain names with the size in them; every workshop writes its own. Its sizes are common practice, no source.
//
//	r := rack.Default()
//	tip, _ := r.TipFor(40)                       // bluntest that reaches into a low of 40 mm radius
//	bar, ok := r.BarFor(300, 12, tip.Name, 160)  // shortest that gets there, takes the tip and keeps the hand under its limit
package rack
