package rating

import "testing"

// Agreements x quantities worked by hand; the arithmetic stands beside each
// row. Without another tax a line has S20.
//
// tripwire: one table, a row each.
func TestByHand(t *testing.T) {
	const steps, tiers = "EUR | spread 30 step 50:26,200:24.75", "EUR | spread 30 tier 50:26,200:24.75"
	rows := []struct{ agreement, quantities, want string }{
		// Every kind and basis.
		{"EUR | spread 28.50", "s6120", "6.120x28.50=174.42 | 174.42+34.88=209.30"},                                       // 6.12 x 28.5 = 174.42; x 0.2 = 34.884
		{"EUR | docket 28.50", "d6000", "6.000x28.50=171.00 | 171.00+34.20=205.20"},                                       // 6 x 28.5
		{"EUR | loaded 28.50", "l6100", "6.100x28.50=173.85 | 173.85+34.77=208.62"},                                       // 6.1 x 28.5
		{"EUR | boundary 9", "b40000", "4.000x9.00=36.00 | 36.00+7.20=43.20"},                                             // 40 000 m2 = 4 ha
		{"EUR | covered 9", "c39000", "3.900x9.00=35.10 | 35.10+7.02=42.12"},                                              // 3.9 x 9
		{"EUR | km 2.10", "km12.5", "12.500x2.10=26.25 | 26.25+5.25=31.50"},                                               // 12.5 x 2.1
		{"EUR | h 95", "h3.25", "3.250x95.00=308.75 | 308.75+61.75=370.50"},                                               // 3.25 x 95
		{"EUR | fixed 40", "", "1x40.00=40.00 | 40.00+8.00=48.00"},                                                        // once
		{"EUR | spread 28.50 | covered 9", "s6120 c39000", "6.120x28.50=174.42 | 3.900x9.00=35.10 | 209.52+41.90=251.42"}, // 174.42 + 35.10; x 0.2 = 41.904
		{"EUR | fixed 12.3456", "", "1x12.3456=12.35 | 12.35+2.47=14.82"},                                                 // a price may have more digits than its currency

		// Half a cent in an amount, by both rules.
		{"EUR up | spread 0.125", "s1000", "1.000x0.125=0.13 | 0.13+0.03=0.16"},           // 0.125 up; 0.026
		{"EUR even | spread 0.125", "s1000", "1.000x0.125=0.12 | 0.12+0.02=0.14"},         // 0.125 to even 12; 0.024
		{"EUR up | spread 0.135", "s1000", "1.000x0.135=0.14 | 0.14+0.03=0.17"},           // 0.135 up; 0.028
		{"EUR even | spread 0.135", "s1000", "1.000x0.135=0.14 | 0.14+0.03=0.17"},         // 0.135 to even 14
		{"EUR up | spread 0.005", "s1000", "1.000x0.005=0.01 | 0.01+0.00=0.01"},           // 0.005 up; 0.002
		{"EUR even | spread 0.005", "s1000", "1.000x0.005=0.00 | 0.00+0.00=0.00"},         // 0.005 to even 0
		{"EUR even | spread 0.015", "s1000", "1.000x0.015=0.02 | 0.02+0.00=0.02"},         // 0.015 to even 2; 0.004
		{"EUR even | spread 0.0250001", "s1000", "1.000x0.0250001=0.03 | 0.03+0.01=0.04"}, // above half is no half; 0.006

		// Half a cent in a tax.
		{"EUR up S10 | fixed 0.25", "", "1x0.25=0.25 | 0.25+0.03=0.28"},    // 0.025 up
		{"EUR even S10 | fixed 0.25", "", "1x0.25=0.25 | 0.25+0.02=0.27"},  // 0.025 to even 2
		{"EUR even S10 | fixed 0.35", "", "1x0.35=0.35 | 0.35+0.04=0.39"},  // 0.035 to even 4
		{"EUR up S7.5 | fixed 2.20", "", "1x2.20=2.20 | 2.20+0.17=2.37"},   // 2.2 x 0.075 = 0.165 up
		{"EUR even S7.5 | fixed 2.20", "", "1x2.20=2.20 | 2.20+0.16=2.36"}, // 0.165 to even 16

		// Half a step in a quantity.
		{"EUR up | spread 1000", "s1000.5", "1.001x1000.00=1001.00 | 1001.00+200.20=1201.20"},           // 1.0005 t up
		{"EUR even | spread 1000", "s1000.5", "1.000x1000.00=1000.00 | 1000.00+200.00=1200.00"},         // 1.0005 t to even
		{"EUR even | spread 1000", "s1001.5", "1.002x1000.00=1002.00 | 1002.00+200.40=1202.40"},         // 1.0015 t to even
		{"EUR up | spread 1000", "s1000.4999", "1.000x1000.00=1000.00 | 1000.00+200.00=1200.00"},        // just under half
		{"EUR up q2 | spread 1000", "s1005", "1.01x1000.00=1010.00 | 1010.00+202.00=1212.00"},           // 1.005 t up
		{"EUR even q2 | spread 1000", "s1005", "1.00x1000.00=1000.00 | 1000.00+200.00=1200.00"},         // 1.005 t to even
		{"EUR up q0 | covered 9", "c15000", "2x9.00=18.00 | 18.00+3.60=21.60"},                          // 1.5 ha up
		{"EUR even q0 | covered 9", "c25000", "2x9.00=18.00 | 18.00+3.60=21.60"},                        // 2.5 ha to even
		{"EUR q6 | spread 1000", "s1000.5", "1.000500x1000.00=1000.50 | 1000.50+200.10=1200.60"},        // nothing to round
		{"EUR | spread 1000", "s333.3 s333.4 s333.8", "1.001x1000.00=1001.00 | 1001.00+200.20=1201.20"}, // 1000.5 kg summed first, then up

		// Minimum charges.
		{"EUR | spread 28.50 | min 250", "s6120", "6.120x28.50=174.42 | 1x75.58=75.58 | 250.00+50.00=300.00"},                            // 250 - 174.42
		{"EUR | spread 25 | min 250", "s10000", "10.000x25.00=250.00 | 250.00+50.00=300.00"},                                             // exactly reached
		{"EUR | fixed 249.99 | min 250", "", "1x249.99=249.99 | 1x0.01=0.01 | 250.00+50.00=300.00"},                                      // a cent short
		{"EUR | fixed 250.01 | min 250", "", "1x250.01=250.01 | 250.01+50.00=300.01"},                                                    // a cent over; 50.002
		{"EUR | spread 28.50 | min 250", "s0", "0.000x28.50=0.00 | 1x250.00=250.00 | 250.00+50.00=300.00"},                               // nothing spread
		{"EUR | spread 28.50 | min 0", "s0", "0.000x28.50=0.00 | 0.00+0.00=0.00"},                                                        // nothing at all
		{"EUR | min 250", "", "1x250.00=250.00 | 250.00+50.00=300.00"},                                                                   // alone
		{"EUR | min 250 | fixed 40", "", "1x40.00=40.00 | 1x210.00=210.00 | 250.00+50.00=300.00"},                                        // wherever it stands
		{"EUR | spread 30 step 10:25 | min 250", "s9999", "9.999x30.00=299.97 | 299.97+59.99=359.96"},                                    // under the step, over the minimum; 59.994
		{"EUR | spread 30 step 10:25 | min 250", "s10000", "10.000x25.00=250.00 | 250.00+50.00=300.00"},                                  // the step makes it cheaper, just to the minimum
		{"EUR | spread 30 step 10:20 | min 250", "s10000", "10.000x20.00=200.00 | 1x50.00=50.00 | 250.00+50.00=300.00"},                  // the step falls under the minimum
		{"EUR | spread 30 tier 5:10 | min 250", "s8000", "5.000x30.00=150.00 | 3.000x10.00=30.00 | 1x70.00=70.00 | 250.00+50.00=300.00"}, // 150 + 30 + 70
		{"EUR | spread 28.50 E | min 250", "s6120", "6.120x28.50=174.42 | 1x75.58=75.58 | 250.00+15.12=265.12"},                          // the top-up has the agreement's tax: 75.58 x 0.2 = 15.116

		// Stepped: the whole quantity at the price of its step.
		{steps, "s49999", "49.999x30.00=1499.97 | 1499.97+299.99=1799.96"},                               // just under; 299.994
		{steps, "s50000", "50.000x26.00=1300.00 | 1300.00+260.00=1560.00"},                               // exactly at
		{steps, "s50001", "50.001x26.00=1300.03 | 1300.03+260.01=1560.04"},                               // just over: 1300.026; 260.006
		{steps, "s199999", "199.999x26.00=5199.97 | 5199.97+1039.99=6239.96"},                            // 5199.974; 1039.994
		{steps, "s200000", "200.000x24.75=4950.00 | 4950.00+990.00=5940.00"},                             // the next at
		{steps, "s49999.5", "50.000x26.00=1300.00 | 1300.00+260.00=1560.00"},                             // the rounded quantity reaches it
		{steps, "s49999.4999", "49.999x30.00=1499.97 | 1499.97+299.99=1799.96"},                          // and here it does not
		{"EUR even | spread 30 step 50:26", "s49998.5", "49.998x30.00=1499.94 | 1499.94+299.99=1799.93"}, // to even; 299.988
		{"EUR | h 95 step 8:85", "h8", "8.000x85.00=680.00 | 680.00+136.00=816.00"},
		{steps, "s0", "0.000x30.00=0.00 | 0.00+0.00=0.00"},

		// Tiered: each slice at its own price.
		{tiers, "s49999", "49.999x30.00=1499.97 | 1499.97+299.99=1799.96"},                                                 // one slice; 299.994
		{tiers, "s50000", "50.000x30.00=1500.00 | 1500.00+300.00=1800.00"},                                                 // full, no second
		{tiers, "s50001", "50.000x30.00=1500.00 | 0.001x26.00=0.03 | 1500.03+300.01=1800.04"},                              // 0.026 up; 300.006
		{tiers, "s200000", "50.000x30.00=1500.00 | 150.000x26.00=3900.00 | 5400.00+1080.00=6480.00"},                       // two full
		{tiers, "s230500", "50.000x30.00=1500.00 | 150.000x26.00=3900.00 | 30.500x24.75=754.88 | 6154.88+1230.98=7385.86"}, // 30.5 x 24.75 = 754.875 up; 1230.976
		{tiers, "s0", "0.000x30.00=0.00 | 0.00+0.00=0.00"},
		{"EUR | km 3 tier 10:2", "km25", "10.000x3.00=30.00 | 15.000x2.00=30.00 | 60.00+12.00=72.00"},
		{"EUR | covered 9 tier 10:0", "c120000", "10.000x9.00=90.00 | 2.000x0.00=0.00 | 90.00+18.00=108.00"}, // free above 10 ha

		// Discounts.
		{"EUR | spread 28.50 -2.5%", "s6120", "6.120x28.50-4.36=170.06 | 170.06+34.01=204.07"},                                                    // 174.42 x 0.975 = 170.0595; 34.012
		{"EUR | spread 28.50 -100%", "s6120", "6.120x28.50-174.42=0.00 | 0.00+0.00=0.00"},                                                         // all of it
		{"EUR | fixed 40 -15", "", "1x40.00-15.00=25.00 | 25.00+5.00=30.00"},                                                                      // 40 - 15
		{"EUR | fixed 10 -15", "", "1x10.00-10.00=0.00 | 0.00+0.00=0.00"},                                                                         // never below zero
		{"EUR | spread 30 tier 1:10 -35", "s3000", "1.000x30.00-30.00=0.00 | 2.000x10.00-5.00=15.00 | 15.00+3.00=18.00"},                          // 30 off the first slice, 5 off the second
		{"EUR up | fixed 0.50 -25%", "", "1x0.50-0.12=0.38 | 0.38+0.08=0.46"},                                                                     // 0.375 up; 0.076
		{"EUR even | fixed 0.50 -27%", "", "1x0.50-0.14=0.36 | 0.36+0.07=0.43"},                                                                   // 0.365 to even 36; 0.072
		{"EUR -1% | spread 28.50", "s6120", "6.120x28.50=174.42 | -1.74 | 172.68+34.54=207.22"},                                                   // 1.7442; 172.68 x 0.2 = 34.536
		{"EUR -10% | spread 28.50 | covered 9 E", "s6120 c39000", "6.120x28.50=174.42 | 3.900x9.00=35.10 | -17.44 | -3.51 | 188.57+31.40=219.97"}, // 17.442; 3.51; 156.98 x 0.2 = 31.396
		{"EUR -10% | fixed 200 | min 190", "", "1x200.00=200.00 | 1x10.00=10.00 | -20.00 | 190.00+38.00=228.00"},                                  // 180 after the discount; the top-up has none
		{"EUR -10% | fixed 200 | min 180", "", "1x200.00=200.00 | -20.00 | 180.00+36.00=216.00"},                                                  // 180 reaches it
		{"EUR even -5% | fixed 0.50", "", "1x0.50=0.50 | -0.02 | 0.48+0.10=0.58"},                                                                 // 0.025 to even 2; 0.096

		// Taxes.
		{"EUR | spread 10 | covered 10 S5 | km 1 Z | fixed 7 E", "s1000 c10000 km3",
			"1.000x10.00=10.00 | 1.000x10.00=10.00 | 3.000x1.00=3.00 | 1x7.00=7.00 | 30.00+2.50=32.50"}, // 2.00 + 0.50 + 0 + 0
		{"EUR | fixed 0.12 | fixed 0.12", "", "1x0.12=0.12 | 1x0.12=0.12 | 0.24+0.05=0.29"}, // on the sum: 0.048, not 0.02 + 0.02
		{"EUR AE | fixed 100", "", "1x100.00=100.00 | 100.00+0.00=100.00"},                  // the customer owes the tax
		{"EUR O | fixed 100", "", "1x100.00=100.00 | 100.00+0.00=100.00"},
		{"EUR Z | fixed 100", "", "1x100.00=100.00 | 100.00+0.00=100.00"},
		{"EUR S20 | fixed 0.13 | fixed 0.12 S20.0 | fixed 0.02 S5", "", "1x0.13=0.13 | 1x0.12=0.12 | 1x0.02=0.02 | 0.27+0.05=0.32"}, // 20 and 20.0 are one rate: 0.25 x 0.2 = 0.05; 0.001

		// Currencies of 0 and 3 decimals.
		{"JPY S10 | spread 2850", "s6120", "6.120x2850=17442 | 17442+1744=19186"}, // 1744.2
		{"JPY up S10 | spread 99.5", "s1000", "1.000x99.5=100 | 100+10=110"},      // 99.5 up
		{"JPY even S10 | spread 98.5", "s1000", "1.000x98.5=98 | 98+10=108"},      // 98.5 to even; 9.8
		{"JPY up S10 | fixed 5", "", "1x5=5 | 5+1=6"},                             // 0.5 up
		{"JPY even S10 | fixed 5", "", "1x5=5 | 5+0=5"},                           // 0.5 to even
		{"JPY S10 | spread 10 | min 100", "s1000", "1.000x10=10 | 1x90=90 | 100+10=110"},
		{"KWD S5 | spread 8.750", "s6120", "6.120x8.750=53.550 | 53.550+2.678=56.228"},   // 2.6775 up
		{"KWD up S5 | fixed 0.250", "", "1x0.250=0.250 | 0.250+0.013=0.263"},             // 0.0125 up
		{"KWD even S5 | fixed 0.250", "", "1x0.250=0.250 | 0.250+0.012=0.262"},           // 0.0125 to even
		{"KWD up S5 | spread 1.0005", "s1000", "1.000x1.0005=1.001 | 1.001+0.050=1.051"}, // 0.05005
		{"KWD even S5 | spread 1.0005", "s1000", "1.000x1.0005=1.000 | 1.000+0.050=1.050"},
		{"KWD S5 | fixed 10 -0.125", "", "1x10.000-0.125=9.875 | 9.875+0.494=10.369"}, // 0.49375

		// Products.
		{"EUR | product 640 of urea -40 E | spread 28.50", "l2000 s2000", "2.000x640.00-40.00=1240.00 | 2.000x28.50=57.00 | 1297.00+11.40=1308.40"}, // 57 x 0.2
		{"EUR | spread 10 of urea | spread 20 of lime", "urea s1000 lime s3000", "1.000x10.00=10.00 | 3.000x20.00=60.00 | 70.00+14.00=84.00"},
		{"EUR | spread 10 | spread 1 of lime", "urea s1000 lime s3000", "4.000x10.00=40.00 | 3.000x1.00=3.00 | 43.00+8.60=51.60"}, // all products, and lime more
		{"EUR | spread 10 | spread 99 of lime", "urea s1000", "1.000x10.00=10.00 | 10.00+2.00=12.00"},                             // no lime: no line
		{"EUR | boundary 9 of lime", "urea b10000 lime b20000", "2.000x9.00=18.00 | 18.00+3.60=21.60"},
		{"EUR | boundary 9", "urea b10000 lime b10000", "2.000x9.00=18.00 | 18.00+3.60=21.60"}, // spread twice: paid twice
	}
	if len(rows) < 60 {
		t.Errorf("%d rows", len(rows))
	}
	for _, r := range rows {
		b, err := Rate(agreement(t, r.agreement), quantities(t, r.quantities), Tax{})
		if err != nil {
			t.Errorf("%s x %s: %v", r.agreement, r.quantities, err)
		} else if got := show(&b); got != r.want {
			t.Errorf("%s x %s:\n got %s\nwant %s", r.agreement, r.quantities, got, r.want)
		}
	}
}

// Credits worked by hand: the same digits with a minus sign, also where half a
// unit was rounded.
func TestCreditsByHand(t *testing.T) {
	for _, r := range []struct{ agreement, quantities, want string }{
		{"EUR | spread 28.50", "s6120", "-6.120x28.50=-174.42 | -174.42+-34.88=-209.30"},
		{"EUR up S10 | spread 0.125", "s1000", "-1.000x0.125=-0.13 | -0.13+-0.01=-0.14"},
		{"EUR even S10 | fixed 0.25", "", "-1x0.25=-0.25 | -0.25+-0.02=-0.27"},
		{"EUR -1% | spread 28.50 -2.5%", "s6120", "-6.120x28.50--4.36=-170.06 | --1.70 | -168.36+-33.67=-202.03"}, // 1.7006; 33.672
		{"JPY up S10 | fixed 5", "", "-1x5=-5 | -5+-1=-6"},
		{"KWD even S5 | fixed 0.250", "", "-1x0.250=-0.250 | -0.250+-0.012=-0.262"},
		{"EUR | spread 28.50 | min 250", "s0", "0.000x28.50=0.00 | -1x250.00=-250.00 | -250.00+-50.00=-300.00"},
	} {
		b, err := Rate(agreement(t, r.agreement), quantities(t, r.quantities), Tax{})
		if err != nil {
			t.Fatal(err)
		}
		c := Credit(b)
		if got := show(&c); got != r.want {
			t.Errorf("%s x %s:\n got %s\nwant %s", r.agreement, r.quantities, got, r.want)
		}
		if broken := c.Check(); len(broken) > 0 {
			t.Errorf("%s: the credit breaks %v", r.agreement, broken)
		}
		if back := Credit(c); show(&back) != show(&b) {
			t.Errorf("%s: crediting the credit gives %s", r.agreement, show(&back))
		}
	}
}
