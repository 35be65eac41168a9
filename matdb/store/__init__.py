"""The only place that knows SQL: typed models, schema upgrade, records."""
