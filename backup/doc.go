// Package backup writes a workshop into one file, makes a workshop of such a file, and looks a workshop over for damage.
//
// In: a workshop's folder, also while another process works on it. Out: a tar archive:
//
//	records/TABLE.jsonl   one record a line, an array of values in the order of the table's columns; bytes as {"base64": "..."}
//	blobs/HASH            photos and results, named by their SHA-256
//	manifest.json         last: program, version and columns of the tables, size and SHA-256 of every entry
//
// The records are those of one moment. Blobs never change under their name and are stored before a record names them, so that all
// that the records name is there. What is read back is checked against the manifest before anything is made of it.
package backup
