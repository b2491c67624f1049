// Package card finds and reads the printed scale cards in a photo, fits them to a few hundredths of a pixel, and draws the
// symbol for printing.
//
// In: a photo in linear light (photo.Image). Out: for each letter the homography from the card's plane in mm to the photo in
// pixels, with its uncertainty.
//
// A scale card carries one QR symbol, version 1 (21 x 21 modules), error correction level H, with the text
//
//	FM1 <letter> <side>      FM1 A 40
//
// where side is the side of the symbol in mm without its quiet zone. Card plane: mm, origin at the symbol's centre, +x to
// its right, +y to its top as it is printed upright. Photo: pixels from the corner of the picture, the first pixel's centre
// is (0.5, 0.5).
//
// # How
//
//  1. Rows and columns are scanned for the finder patterns' 1:1:3:1:1, with a module size of its own in each direction, so
//     that tilt does not matter (locate.go).
//
//  2. Every three marks whose affine frame predicts those sizes are a trial: a homography and the light on the card are fitted
//     to the parts of a symbol that are known beforehand (finders, separators, timing, quiet zone).
//
//  3. The 21 x 21 modules are sampled and decoded (read.go).
//
//  4. All modules, now known, are fitted again to the photo's own pixels by least squares (fit.go, model.go, pattern.go):
//
//     I(p) = min(1, W(p) - K(p) [(D * G)(q(p)) + s E(q(p))])
//
//     W white of the paper and K contrast, a plane each; D the symbol, 1 where dark; G a Gaussian of free covariance (lens,
//     shake and pixel together); s the spread of the ink with E the blurred outline; min(1, .) the sensor's white. The card
//     may be bent by the panel under it (bend.go): q runs by way of a quadric.
//
// # What H is
//
// On a curved panel a card bends along. H is then the homography of the card's tangent plane at the symbol's middle, so that the
// pose computed from it has the panel's slope there. Corners are those of the tangent plane too.
//
// # Limits
//
// The lens must be free of distortion over one card, and its axis near the middle of the picture. Pixels must be finite numbers.
// Below about 2 px a module on the short side, or blurred by more than 0.6 of one, cards are lost; 4 px are advised. Of two cards
// with one letter the better fitted one is returned.
//
//	cards, err := card.Find(img)
//	for _, c := range cards {
//		x, y := c.Project(0, 0) // centre of the symbol in the photo
//		fmt.Printf("%s at %.2f, %.2f +- %.2f px\n", c.Letter, x, y, c.SigmaPX)
//	}
//
// The symbol is that of ISO/IEC 18004; its modules are made and decoded by github.com/makiuchi-d/gozxing.
package card
