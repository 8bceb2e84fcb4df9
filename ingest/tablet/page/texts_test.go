package page_test

import (
	"encoding/json"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"hopperbook/schemas"
)

// families are the codes that come from elsewhere, by the family of catalogue
// keys their words stand under. The page calls them by tc('family', code).
func families(t *testing.T) map[string][]string {
	return map[string][]string{
		"drift": {"holding", "watch", "recalibrate"}, "spreading": {"on", "off"}, "outbox": {"filling", "full"},
		"gnss": {"none", "searching", "poor", "good"}, "link": {"off", "down", "up", "refused"},
		"notice": {"recalibrate", "check", "sync"}, "job_state": {"ordered", "started", "finished"},
		"method":   {schemas.MethodBucket, schemas.MethodWeighbridge, schemas.MethodCells, schemas.MethodVolume},
		"residual": {"empty", "level", "number", "unknown"}, "mode": {"fixed", "ground_speed", "variable"},
		"form_of": {"granular", "powder"}, "caught": {schemas.CaughtAtBelt, schemas.CaughtFullWidth}, "catch_by": {"distance", "time"},
		"driven": {"steady", "ground"}, "driving": {"to_and_fro", "round_and_round"},
		"check_state": {"unknown", "passed", "failed"}, "item": items(), "look": items(), "fix": items()[:5],
		"wind":  {"calm", "light", "gentle", "moderate", "fresh", "strong"},
		"point": {"n", "ne", "e", "se", "s", "sw", "w", "nw"}, "soil": {"dry", "moist", "wet", "waterlogged", "frozen"},
		"units": {"kg", "lb"}, "theme": {"auto", "light", "dark"}, "refused": refusals(t),
		"entry": {string(schemas.TypeJobStarted), string(schemas.TypeJobFinished), string(schemas.TypeSettingChanged), string(schemas.TypeLoadWeighed),
			string(schemas.TypeHopperRefilled), string(schemas.TypeTestDensity), string(schemas.TypeTestCatch), string(schemas.TypeTestTray),
			string(schemas.TypeCheckMachine), string(schemas.TypeWeatherNoted), string(schemas.TypeEventAmended), string(schemas.TypeNoticeAcknowledged)},
	}
}

// items are the safety items first.
func items() []string {
	return []string{schemas.ItemGuard, schemas.ItemPTOGuard, schemas.ItemLumpBreakerCover, schemas.ItemHitchChain, schemas.ItemTyres, schemas.ItemBeltSag,
		schemas.ItemVanes, schemas.ItemChains, schemas.ItemScreen, schemas.ItemHydraulics, schemas.ItemLevel}
}

// refusals reads the keys from the source that declares them, so that a new
// one without words is found.
func refusals(t *testing.T) (keys []string) {
	t.Helper()
	for file, pattern := range map[string]string{"../refusal.go": `(?m)^\tKey\w+\s*= "(\w+)"`, "do.go": `(?m)^\tkey\w+\s*= "(\w+)"`} {
		source, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range regexp.MustCompile(pattern).FindAllStringSubmatch(string(source), -1) {
			keys = append(keys, m[1])
		}
	}
	if len(keys) < 30 {
		t.Fatalf("only %d refusals found", len(keys))
	}
	return keys
}

func catalogue(t *testing.T) map[string]map[string]string {
	t.Helper()
	var c struct {
		Texts map[string]map[string]string `json:"texts"`
	}
	body, err := os.ReadFile("static/texts.json")
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(body, &c); err != nil {
		t.Fatal(err)
	}
	return c.Texts
}

// calls are the literal keys and the families that the page's scripts use.
func calls(t *testing.T) (keys, used map[string]bool) {
	t.Helper()
	keys, used = map[string]bool{}, map[string]bool{}
	literal, family := regexp.MustCompile(`\bt\(([^)]*)`), regexp.MustCompile(`\b(?:tc|has)\('(\w+)'`)
	name := regexp.MustCompile(`'([a-z_]+\.[a-z_]+)'`)
	err := filepath.WalkDir("static", func(path string, _ fs.DirEntry, err error) error {
		if err != nil || filepath.Ext(path) != ".js" {
			return err
		}
		source, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		for _, m := range literal.FindAllStringSubmatch(string(source), -1) {
			for _, n := range name.FindAllStringSubmatch(m[1], -1) {
				keys[n[1]] = true
			}
		}
		for _, m := range family.FindAllStringSubmatch(string(source), -1) {
			used[m[1]] = true
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return keys, used
}

func TestTheCatalogueIsWhole(t *testing.T) {
	texts := catalogue(t)
	hole := regexp.MustCompile(`\{\w+\}`)
	for key, words := range texts {
		if len(words) != 3 {
			t.Errorf("%s: languages %d, want en, es, pt", key, len(words))
		}
		want := hole.FindAllString(words["en"], -1)
		slices.Sort(want)
		for _, lang := range []string{"en", "es", "pt"} {
			if strings.TrimSpace(words[lang]) == "" {
				t.Errorf("%s: no words in %s", key, lang)
			}
			got := hole.FindAllString(words[lang], -1)
			slices.Sort(got)
			if !slices.Equal(got, want) {
				t.Errorf("%s: %s has %v, en has %v", key, lang, got, want)
			}
		}
	}
}

func TestTheCatalogueHasWhatIsUsedAndNoMore(t *testing.T) {
	texts, known := catalogue(t), families(t)
	keys, used := calls(t)
	for family, codes := range known {
		if !used[family] {
			t.Errorf("family %s is not used", family)
		}
		for _, code := range codes {
			keys[family+"."+code] = true
		}
	}
	for family := range used {
		if _, ok := known[family]; !ok {
			t.Errorf("family %s is used and has no codes here", family)
		}
	}
	for key := range keys {
		if _, ok := texts[key]; !ok {
			t.Errorf("%s is used and not in the catalogue", key)
		}
	}
	for key := range texts {
		if !keys[key] {
			t.Errorf("%s is in the catalogue and not used", key)
		}
	}
}
