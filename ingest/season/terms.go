package season

import "hopperbook/schemas"

// country is the country of everybody; the world lies at sea near it.
const country = "NZ"

// terms says who sends the invoices and what each customer has agreed to pay:
// by tonne, by hectare, with steps, a minimum and a discount. Prices are invented.
func (o *office) terms() {
	o.note(schemas.TypeRegisterContractor, schemas.RegisterContractor{
		Name: "Tussock & Tarn Spreading (invented)", Address: "1 Nowhere Road\nAll names and places here are invented", Country: country,
		TaxID: "NZ000000000", Email: "office@tussock-and-tarn.example", Phone: "000 000 0000", TimeZone: timeZone,
		PaymentNote: "Please pay by transfer and name the invoice's number. (Invented: nobody owes anything.)", TaxCategory: schemas.TaxStandard, TaxPct: "15",
	})
	days := int64(14)
	for i, c := range customers() {
		lines := []schemas.AgreementLine{
			{Kind: "per_tonne", Basis: "spread", Price: "24.00", Text: "Spreading"},
			{Kind: "per_tonne", Basis: "loaded", Price: "6.50", Text: "Loading and cartage", Steps: []schemas.PriceStep{{From: "50", Price: "5.80"}, {From: "150", Price: "5.20"}}, StepsRule: "tiered"},
		}
		if i%2 == 1 {
			lines = []schemas.AgreementLine{
				{Kind: "per_hectare", Basis: "covered", Price: "31.50", Text: "Spreading by area", DiscountPct: "5"},
				{Kind: "fixed", Price: "85.00", Text: "Coming and going"},
				{Kind: "minimum", Price: "450.00"},
			}
		}
		o.note(schemas.TypeRegisterAgreement, schemas.RegisterAgreement{
			Agreement: schemas.AgreementID(c.id), Customer: c.id, Currency: "NZD", Lines: lines, PaymentDays: &days, ProductSupply: "own",
		})
	}
}
