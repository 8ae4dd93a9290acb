package detect

// grid finds what lies near a place.
type grid struct {
	size   float32
	nx, ny int
	cells  [][2]int32 // the first and the last of things in each, counted from 1; 0 for none
	things []thing
}

// thing is something in a grid.
type thing struct {
	id   int32
	next int32 // in its cell, as in cells
}

func newGrid(w, h int, size float32) *grid {
	g := &grid{size: size, nx: int(float32(w)/size) + 1, ny: int(float32(h)/size) + 1}
	g.cells = make([][2]int32, g.nx*g.ny)
	return g
}

func (g *grid) cell(x, y float32) (i, j int) {
	return min(max(int(x/g.size), 0), g.nx-1), min(max(int(y/g.size), 0), g.ny-1)
}

func (g *grid) add(x, y float32, id int) {
	i, j := g.cell(x, y)
	g.things = append(g.things, thing{id: int32(id)})
	c, n := &g.cells[j*g.nx+i], int32(len(g.things))
	if c[0] == 0 {
		c[0] = n
	} else {
		g.things[c[1]-1].next = n
	}
	c[1] = n
}

// near calls f for everything in the cells that a circle touches, until f
// returns false.
func (g *grid) near(x, y, r float32, f func(id int) bool) {
	i0, j0 := g.cell(x-r, y-r)
	i1, j1 := g.cell(x+r, y+r)
	for j := j0; j <= j1; j++ {
		for i := i0; i <= i1; i++ {
			for n := g.cells[j*g.nx+i][0]; n != 0; n = g.things[n-1].next {
				if !f(int(g.things[n-1].id)) {
					return
				}
			}
		}
	}
}
