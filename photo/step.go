package photo

// jpegStep is the mean step of the first table of a JPEG, in grey levels, over waves of four pixels and longer: light that swings by less
// than half of it may be rounded away. It is 0 where there is no table of that sort.
func jpegStep(data []byte) float64 {
	const tables, scan = 0xdb, 0xda
	for i := 2; i+4 < len(data) && data[i] == 0xff && data[i+1] != scan; {
		size := int(data[i+2])<<8 | int(data[i+3])
		if data[i+1] == tables && i+5+longWaves < len(data) && data[i+4] == 0 {
			sum := 0
			for _, v := range data[i+6 : i+5+longWaves] { // the first is the level's
				sum += int(v)
			}
			return float64(sum) / (longWaves - 1)
		}
		i += 2 + size
	}
	return 0
}

// longWaves is how many entries of a table, in its zigzag order, are waves of four pixels and more in both directions together.
const longWaves = 15
