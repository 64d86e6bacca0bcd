package draw

import (
	"image"
	"image/color"
	"image/draw"
	"image/png"
	"io"
	"math"
	"slices"

	"golang.org/x/image/font/sfnt"
	"golang.org/x/image/math/fixed"
	"golang.org/x/image/vector"

	"plumbhook/fault"
)

// maxDPI keeps one picture under 300 MB: A3 at 600 dpi has 70 million pixels.
const maxDPI = 600

// PNG writes the page as a picture with dpi pixels to the inch.
func (p *Page) PNG(w io.Writer, dpi float64) error {
	if p.err != nil {
		return p.err
	}
	if !(dpi >= 20 && dpi <= maxDPI) {
		return fault.New(fault.Range, "a picture with %g pixels to the inch", dpi).Fix("choose 20 to %d", maxDPI)
	}
	k := dpi / 25.4
	c := canvas{image.NewRGBA(image.Rect(0, 0, int(math.Ceil(p.w*k)), int(math.Ceil(p.h*k)))), k}
	draw.Draw(c.img, c.img.Bounds(), image.White, image.Point{}, draw.Src)
	for _, layer := range p.marks {
		for _, m := range layer {
			m.(interface{ paint(canvas) }).paint(c)
		}
	}
	return png.Encode(w, c.img)
}

type canvas struct {
	img *image.RGBA
	k   float64 // pixels per mm
}

func (m poly) paint(c canvas) {
	c.fill(m.fill, m.pts)
	pts := m.pts
	if m.closed {
		pts = append(pts[:len(pts):len(pts)], pts[0])
	}
	c.stroke(m.pen, pts)
}

func (m arc) paint(c canvas) {
	pts := m.points()
	if m.full() {
		c.fill(m.fill, pts)
	}
	c.stroke(m.pen, pts)
}

// stroke draws each piece of a line as a rectangle, with discs where solid
// pieces join. All outlines run the same way round, so that where they
// overlap coverage adds instead of cancelling.
func (c canvas) stroke(p pen, pts []pt) {
	if p.width == 0 {
		return
	}
	var shapes [][]pt
	for _, run := range dashes(p.dash, pts) {
		for i := 0; i+1 < len(run); i++ {
			a, b := run[i], run[i+1]
			n := b.sub(a).unit().left().mul(p.width / 2)
			shapes = append(shapes, []pt{a.add(n), a.sub(n), b.sub(n), b.add(n)})
			if i > 0 {
				shapes = append(shapes, arc{c: a, r: p.width / 2, end: 2 * math.Pi}.points())
			}
		}
	}
	c.fill(p.ink, shapes...)
}

// dashes cuts a line into its dashes.
func dashes(dash []float64, pts []pt) [][]pt {
	if dash == nil {
		return [][]pt{pts}
	}
	var runs [][]pt
	var run []pt
	k, left := 0, dash[0]
	for i := 0; i+1 < len(pts); i++ {
		a, b := pts[i], pts[i+1]
		for l, s := b.sub(a).len(), 0.0; s < l; {
			if len(run) == 0 {
				run = []pt{a.to(b, s/l)}
			}
			step := min(left, l-s)
			s += step
			run = append(run, a.to(b, s/l))
			if left -= step; left <= 0 {
				if k%2 == 0 {
					runs = append(runs, run)
				}
				run = nil
				k++
				left = dash[k%len(dash)]
			}
		}
	}
	if k%2 == 0 && len(run) > 1 {
		runs = append(runs, run)
	}
	return runs
}

// fill paints shapes as one, so that overlaps inside it do not show.
func (c canvas) fill(in ink, shapes ...[]pt) {
	if in == none || len(shapes) == 0 {
		return
	}
	c.raster(in, around(slices.Concat(shapes...)...), func(z *vector.Rasterizer, at func(pt) (float32, float32)) {
		for _, s := range shapes {
			z.MoveTo(at(s[0]))
			for _, q := range s[1:] {
				z.LineTo(at(q))
			}
			z.ClosePath()
		}
	})
}

// raster paints whatever path adds inside a box given in mm.
func (c canvas) raster(in ink, box rect, path func(*vector.Rasterizer, func(pt) (float32, float32))) {
	r := image.Rect(int(math.Floor(box.x0*c.k)), int(math.Floor(box.y0*c.k)),
		int(math.Ceil(box.x1*c.k)), int(math.Ceil(box.y1*c.k))).Intersect(c.img.Bounds())
	if r.Empty() {
		return
	}
	z := vector.NewRasterizer(r.Dx(), r.Dy())
	path(z, func(q pt) (float32, float32) {
		return float32(q.x*c.k - float64(r.Min.X)), float32(q.y*c.k - float64(r.Min.Y))
	})
	col := rgb[in]
	z.Draw(c.img, r, image.NewUniform(color.RGBA{col[0], col[1], col[2], 255}), image.Point{})
}

func (m label) paint(c canvas) {
	f := faces[weight(m.bold)]
	em := fixed.I(int(f.UnitsPerEm()))
	k := m.size / float64(em)
	c.raster(m.ink, m.bounds().grow(m.size), func(z *vector.Rasterizer, at func(pt) (float32, float32)) {
		pen := m.at
		to := func(q fixed.Point26_6) (float32, float32) {
			return at(pen.add(pt{float64(q.X) * k, float64(q.Y) * k}))
		}
		var buf sfnt.Buffer
		for _, r := range m.s {
			outline, err := f.LoadGlyph(&buf, glyph(f, &buf, r), em, nil)
			if err != nil {
				continue
			}
			for _, s := range outline {
				ax, ay := to(s.Args[0])
				bx, by := to(s.Args[1])
				switch s.Op {
				case sfnt.SegmentOpMoveTo:
					z.MoveTo(ax, ay)
				case sfnt.SegmentOpLineTo:
					z.LineTo(ax, ay)
				case sfnt.SegmentOpQuadTo:
					z.QuadTo(ax, ay, bx, by)
				case sfnt.SegmentOpCubeTo:
					dx, dy := to(s.Args[2])
					z.CubeTo(ax, ay, bx, by, dx, dy)
				}
			}
			z.ClosePath()
			pen.x += width(string(r), m.size, m.bold)
		}
	})
}
