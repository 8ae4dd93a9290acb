// Package sphere holds angles, directions on the unit sphere named by their
// frame, and rotations between frames.
package sphere
