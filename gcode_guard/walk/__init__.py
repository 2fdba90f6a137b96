"""The walk round the bench: a slow program that shows a person that everything stands where the setup says."""
