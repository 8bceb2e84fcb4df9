package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"image/png"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"hopperbook/reports"
	"hopperbook/schemas/fault"
)

// squareField is the events of an invented square of 200 by 200 m: ten lines of
// 20 m bout, 800 kg in one load, 200 kg/ha set and given.
func squareField() string {
	const latM, lonM = 1 / 111146.0, 1 / 77466.0 // degrees a metre at 46 degrees, near enough for a test that measures
	at := func(x, y float64) string { return fmt.Sprintf("[%.9f,%.9f]", 169+x*lonM, -46+y*latM) }
	var b strings.Builder
	add := func(typ, clock, data string) {
		b.WriteString(line(typ, "2026-03-02T"+clock+"Z", data) + "\n")
	}
	add("register.field", "07:00:00", fmt.Sprintf(`{"field":"sq-1","customer":"C1","name":"Invented square","boundary":{"type":"Polygon","coordinates":[[%s,%s,%s,%s,%s]]}}`,
		at(0, 0), at(200, 0), at(200, 200), at(0, 200), at(0, 0)))
	add("setting.changed", "07:10:00", `{"machine":"sp1","product":"urea","bout_width_m":20,"set_rate_kg_ha":200}`)
	add("load.weighed", "07:20:00", `{"load":"L1","product":"urea","net_kg":800,"method":"weighbridge"}`)
	add("hopper.refilled", "07:30:00", `{"machine":"sp1","refill":"R1","product":"urea","loads":["L1"],"residual_kg":0,"residual_method":"empty"}`)
	for k := range 10 {
		var dt, lat, lon, speed, on []string
		for i := range 41 {
			y := 5 * float64(i)
			if k%2 == 1 {
				y = 200 - y
			}
			dt, speed = append(dt, fmt.Sprint(1000*i)), append(speed, "18")
			lat, lon = append(lat, fmt.Sprintf("%.9f", -46+y*latM)), append(lon, fmt.Sprintf("%.9f", 169+(10+20*float64(k))*lonM))
			on = append(on, map[bool]string{true: "1", false: "0"}[i < 40])
		}
		add("pass.logged", fmt.Sprintf("08:%02d:00", 2*k), fmt.Sprintf(`{"machine":"sp1","start":"2026-03-02T08:%02d:00Z","dt_ms":[%s],"lat":[%s],"lon":[%s],"speed_kmh":[%s],"spreading":[%s]}`,
			2*k, strings.Join(dt, ","), strings.Join(lat, ","), strings.Join(lon, ","), strings.Join(speed, ","), strings.Join(on, ",")))
	}
	add("hopper.refilled", "09:00:00", `{"machine":"sp1","refill":"R2","product":"urea","loads":[],"residual_kg":0,"residual_method":"empty"}`)
	return b.String()
}

// A map through the book itself and through a hub: the same figures, known by
// hand, and the same files.
func TestMap(t *testing.T) {
	dir, out := t.TempDir(), t.TempDir()
	must(t, squareField(), "publish", "-", "--book", dir)
	name := func(n string) string { return filepath.Join(out, n) }
	args := func(n string) []string {
		return []string{"map", "sq-1", "--cell", "0.5", "--json", "--book", dir, "--png", name(n + ".png"), "--tif", name(n + ".tif"), "--geojson", name(n + ".geojson")}
	}
	own := must(t, "", args("own")...)
	a := decode[reports.MapAnswer](t, own)
	if a.Grid != nil || a.Field != "sq-1" || a.Product != "urea" || math.Abs(a.MeanKgHa-200) > 1 || math.Abs(a.AreaM2-40000) > 300 || a.CVPct > 5 || a.BelowPct+a.AbovePct > 1 || math.Abs(a.SpreadKg-800) > 2 {
		t.Errorf("%+v", a)
	}
	files := map[string][]byte{}
	for _, form := range []string{"png", "tif", "geojson"} {
		raw, err := os.ReadFile(name("own." + form))
		if err != nil {
			t.Fatal(err)
		}
		files[form] = raw
	}
	if _, err := png.Decode(bytes.NewReader(files["png"])); err != nil || !json.Valid(files["geojson"]) || !bytes.HasPrefix(files["tif"], []byte("II*\x00")) {
		t.Errorf("PNG %v", err)
	}
	if text := must(t, "", "map", "invented square", "--book", dir); !strings.Contains(text, "Mean on the field") || !strings.Contains(text, "no tray test") {
		t.Errorf("by its name: %s", text)
	}

	startHub(t, dir)
	if got := must(t, "", args("hub")...); got != own {
		t.Error("a hub gives other figures")
	}
	for form, want := range files {
		if raw, err := os.ReadFile(name("hub." + form)); err != nil || !bytes.Equal(raw, want) {
			t.Errorf("a hub gives another %s (%v)", form, err)
		}
	}
	for _, r := range []struct {
		args string
		exit fault.Code
		says string
	}{
		{"map", fault.Usage, "takes one FIELD"},
		{"map sq-2", fault.NotFound, "sq-1 (Invented square)"},
		{"map sq-1 --product lime", fault.NotFound, "name one of: urea"},
		{"map sq-1 --cell 0", fault.Usage, "between 0.1 and 100"},
		{"map sq-1 --cell 0.01", fault.Usage, "between 0.1 and 100"},
		{"map sq-1 --png " + name("none/x.png"), fault.Usage, "a folder that exists"},
	} {
		_, stderr, exit := command(t, "", append(strings.Fields(r.args), "--book", dir)...)
		if exit != r.exit.Exit() || !strings.Contains(stderr, r.says) {
			t.Errorf("hopperbook %s: exit %d, %s", r.args, exit, stderr)
		}
	}
}

// Half the square is not to be spread: 100 m of it, with 400 of its 800 kg, and ground outside.
func TestMapWithAnExclusionArea(t *testing.T) {
	dir := t.TempDir()
	field, _, _ := strings.Cut(squareField(), "\n")
	const area = `"exclusion":{"type":"Polygon","coordinates":[[[168.99,-46.01],[169.00129089,-46.01],[169.00129089,-45.99],[168.99,-45.99],[168.99,-46.01]]]},"customer"`
	later := strings.NewReplacer(`"customer"`, area, "07:00:00", "10:00:00").Replace(field)
	must(t, squareField()+later+"\n", "publish", "-", "--book", dir)
	out := filepath.Join(t.TempDir(), "map")
	a := decode[reports.MapAnswer](t, must(t, "", "map", "sq-1", "--json", "--book", dir, "--png", out+".png", "--geojson", out+".geojson"))
	if math.Abs(a.ExcludedKg-400) > 5 || math.Abs(a.ExcludedM2-20000) > 300 || math.Abs(a.AreaM2-20000) > 300 || math.Abs(a.MeanKgHa-200) > 1 ||
		math.Abs(a.InFieldKg+a.ExcludedKg+a.OutsideKg-a.SpreadKg) > 0.002 {
		t.Errorf("%+v", a)
	}
	raw, err := os.ReadFile(out + ".geojson")
	if err != nil {
		t.Fatal(err)
	}
	contoursM2 := 0.0
	for _, f := range decode[struct {
		Features []struct{ Properties map[string]any }
	}](t, string(raw)).Features {
		contoursM2 += f.Properties["area_m2"].(float64)
	}
	if math.Abs(contoursM2-20000) > 100 {
		t.Errorf("contours of %v m2", contoursM2)
	}
	if text := must(t, "", "map", "sq-1", "--book", dir); !strings.Contains(text, "In exclusion areas") {
		t.Error(text)
	}
}
