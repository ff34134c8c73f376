package markstest

import (
	"fmt"
	"math/rand/v2"
)

// Way is a way of taking a picture of a page.
type Way struct {
	Name string
	JPEG int // quality, 0 for none
	args func(w, h, seed int) []string
}

func fixed(args ...string) func(w, h, seed int) []string {
	return func(int, int, int) []string { return args }
}

// Ways are those that a page is read from; a copy in black and white is BlackAndWhite.
func Ways() []Way {
	return []Way{
		{"scan 200 dpi", 0, fixed("-resize", "66.667%")},
		{"scan 150 dpi", 0, fixed("-resize", "50%")},
		{"60 % contrast", 0, fixed("-resize", "50%", "+level", "20%,80%")},
		{"JPEG 60", 60, fixed("-resize", "66.667%")},
		{"noise, JPEG 40", 40, func(_, _, seed int) []string {
			return []string{"-resize", "50%", "-seed", fmt.Sprint(seed), "-attenuate", "0.35", "+noise", "Gaussian"}
		}},
		{"turned up to 5 degrees", 0, func(_, _, seed int) []string {
			angle := []float64{-4.9, -2.2, 1.3, 3.1, 4.9}[seed%5]
			return []string{"-resize", "50%", "-background", "gray80", "-rotate", fmt.Sprintf("%.2f", angle)}
		}},
		{"upside down, a quarter", 0, func(_, _, seed int) []string {
			return []string{"-resize", "50%", "-rotate", []string{"180", "90", "270"}[seed%3]}
		}},
		{"phone, perspective, blur 1", 80, phone},
		{"barrel", 0, fixed("-resize", "50%", "-bordercolor", "gray60", "-border", "60", "-virtual-pixel", "edge", "-distort", "Barrel",
			"0.0 0.0 0.035 0.965")},
		{"curl", 0, func(w, h, seed int) []string {
			return []string{"-resize", "50%", "-bordercolor", "gray60", "-border", "40", "-background", "gray60",
				"-wave", fmt.Sprintf("%dx%d", 10+seed%5, w*3/4)}
		}},
		{"shadow", 75, gradient},
		{"hand's hard shadow", 0, hand},
		{"folded once", 0, fold},
		{"blur 1.5 px", 0, fixed("-resize", "50%", "-blur", "0x1.5")},
	}
}

// AsDrawn takes no picture: the page is as it was drawn, with whatever resolution.
func AsDrawn() Way { return Way{Name: "as drawn"} }

// TwelveMegapixels is a phone's picture as it comes from the camera.
func TwelveMegapixels() Way {
	return Way{"12 megapixels", 85, fixed("-bordercolor", "gray35", "-border", "260", "-resize", "3024x4032!", "-blur", "0x1.5")}
}

// BlackAndWhite is a photocopy that knows two colours, dirty, and scanned in grey.
func BlackAndWhite() Way {
	return Way{"photocopy", 75, func(w, h, seed int) []string {
		return []string{"-resize", "66.667%", "-blur", "0x0.6", "-seed", fmt.Sprint(seed), "-attenuate", "0.25", "+noise", "Gaussian",
			"-threshold", "58%",
			"(", "+clone", "-fill", "gray50", "-colorize", "100", "-attenuate", "1.2", "+noise", "Gaussian", "-threshold", "2%", ")",
			"-compose", "Darken", "-composite", "-blur", "0x0.5", "-resize", "75%"}
	}}
}

func phone(w, h, seed int) []string {
	r := rand.New(rand.NewPCG(uint64(seed), 5))
	w, h = w/2, h/2
	border := 120
	d := func() int { return r.IntN(90) }
	corners := fmt.Sprintf("%d,%d %d,%d %d,%d %d,%d %d,%d %d,%d %d,%d %d,%d",
		border, border, border+d(), border+d(), border+w, border, border+w-d(), border+d(),
		border+w, border+h, border+w-d(), border+h-d(), border, border+h, border+d(), border+h-d())
	return []string{"-resize", "50%", "-bordercolor", "gray35", "-border", fmt.Sprint(border), "-virtual-pixel", "edge",
		"-distort", "Perspective", corners,
		"(", "+clone", "-sparse-color", "Bilinear", fmt.Sprintf("0,0 gray70 %d,0 white 0,%d gray85 %d,%d gray95", w, h, w, h), ")",
		"-compose", "Multiply", "-composite", "-blur", "0x1"}
}

func gradient(w, h, _ int) []string {
	light := fmt.Sprintf("0,0 gray45 %d,%d white %d,0 gray75 0,%d gray70", w/2, h/2, w/2, h/2)
	return []string{"-resize", "50%", "(", "+clone", "-sparse-color", "Bilinear", light, ")",
		"-compose", "Multiply", "-composite"}
}

func hand(w, h, seed int) []string {
	w, h = w/2, h/2
	y := h/4 + (seed*67)%(h/3)
	shape := fmt.Sprintf("polygon %d,%d %d,%d %d,%d %d,%d %d,%d", w, y, w/2, y+h/16, w*2/5, y+h/5, w*3/5, y+h/3, w, y+h/2)
	return []string{"-resize", "50%",
		"(", "+clone", "-fill", "white", "-colorize", "100", "-fill", "gray58", "-draw", shape, "-blur", "0x2", ")",
		"-compose", "Multiply", "-composite"}
}

// fold bends the lower half away at a line, and leaves a crease there.
func fold(w, h, seed int) []string {
	w, h = w/2, h/2
	y := h*2/5 + (seed*91)%(h/4)
	lower := fmt.Sprintf("0,0 0,0 %d,0 %d,0 0,%d 14,%d %d,%d %d,%d", w, w, h-y, h-y-12, w, h-y, w-14, h-y-12)
	return []string{"-resize", "50%",
		"(", "-clone", "0", "-crop", fmt.Sprintf("%dx%d+0+0", w, y), "+repage", ")",
		"(", "-clone", "0", "-crop", fmt.Sprintf("%dx%d+0+%d", w, h-y, y), "+repage", "-virtual-pixel", "edge",
		"-distort", "Perspective", lower,
		"+level", "0,88%", ")",
		"-delete", "0", "-append",
		"(", "+clone", "-fill", "white", "-colorize", "100", "-stroke", "gray60", "-strokewidth", "3",
		"-draw", fmt.Sprintf("line 0,%d %d,%d", y, w, y), "-blur", "0x1", ")",
		"-compose", "Multiply", "-composite", "-bordercolor", "gray50", "-border", "20"}
}
