package render

import "math"

// drawSky adds sky, glows and discs, and passes everything through vignetting
// and obstacles.
func (s *Scene) drawSky(light []float32) {
	cx, cy := float64(s.W-1)/2, float64(s.H-1)/2
	corner := cx*cx + cy*cy
	colour := colours(s.Sensor.Mosaic)
	s.rows(func(y int) {
		row := light[y*s.W : (y+1)*s.W]
		v := (float64(y) - cy) / float64(s.H)
		for x := range row {
			u := (float64(x) - cx) / float64(s.W)
			sky := s.Sky.Level * math.Max(0, 1+s.Sky.DX*u+s.Sky.DY*v)
			for i := range s.Lights {
				sky += s.Lights[i].at(float64(x), float64(y))
			}
			e := float64(row[x]) + sky*response(colour(x, y), s.Sky.Red, s.Sky.Blue)
			if s.Sky.Vignette != 0 {
				dx, dy := float64(x)-cx, float64(y)-cy
				e *= 1 - s.Sky.Vignette*(dx*dx+dy*dy)/corner
			}
			if s.Block != nil {
				pass, own := s.Block(x, y)
				e = e*float64(pass) + float64(own)
			}
			row[x] = float32(e + s.glow(x, y))
		}
	})
}

// at returns the electrons per pixel of the light at a pixel.
func (l *Light) at(x, y float64) float64 {
	dx, dy := x-l.X, y-l.Y
	r2 := (dx*dx + dy*dy) / (l.Radius * l.Radius)
	if !l.Sharp {
		return l.Peak * math.Exp(-r2/2)
	}
	// A rim one pixel wide and a faint halo that falls with the radius.
	r := math.Sqrt(r2)
	rim := math.Max(0, math.Min(1, (1-r)*l.Radius+0.5))
	return l.Peak * (rim + 0.002*math.Exp(-math.Max(0, r-1)))
}

// glow returns the amplifier's glow at a pixel.
func (s *Scene) glow(x, y int) float64 {
	if s.Sky.Glow == 0 {
		return 0
	}
	size := s.Sky.GlowSize
	if size == 0 {
		size = float64(s.W) / 10
	}
	return s.Sky.Glow * math.Exp(-math.Hypot(float64(s.W-1-x), float64(y))/size)
}

// drawStreak adds a line with a Gaussian profile across and soft ends.
func (s *Scene) drawStreak(light []float32, k Streak) {
	width := k.Width
	if width == 0 {
		width = s.PSF.FWHM
	}
	sg := sigma(width)
	dx, dy := k.X2-k.X1, k.Y2-k.Y1
	length := math.Hypot(dx, dy)
	if length == 0 {
		return
	}
	dx, dy = dx/length, dy/length
	pad := 5*sg + 1
	x0, x1 := box((k.X1+k.X2)/2, math.Abs(k.X2-k.X1)/2+pad, s.W)
	y0, y1 := box((k.Y1+k.Y2)/2, math.Abs(k.Y2-k.Y1)/2+pad, s.H)
	for y := y0; y <= y1; y++ {
		for x := x0; x <= x1; x++ {
			u, v := float64(x)-k.X1, float64(y)-k.Y1
			across := u*dy - v*dx
			if math.Abs(across) > pad {
				continue
			}
			along := u*dx + v*dy
			f := k.Flux / (sg * math.Sqrt(2*math.Pi)) * math.Exp(-across*across/(2*sg*sg))
			f *= 0.5 * (math.Erf(along/(sg*math.Sqrt2)) - math.Erf((along-length)/(sg*math.Sqrt2)))
			at := y*s.W + x
			light[at] = float32(math.Max(0, float64(light[at])+f))
		}
	}
}
