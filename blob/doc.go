// Package blob keeps photos and results as byte strings named by their SHA-256: on the technician's own disk, or in an S3-compatible
// store that several computers share.
//
// In: bytes. Out: the same bytes, or an error that tells a missing from a torn or altered file. A blob is there whole or not at all,
// and storing it again repairs it.
//
//	d := blob.Disk{Dir: "workshop/blobs"}
//	hash, err := blob.Put(ctx, d, data)
//	data, err := d.Get(ctx, hash)
package blob
