# A finished job is told nothing more.
start hill coarse
1 min calm
1 min windy
  11:02 driver: Stop hill: too windy, 12, max 10 mph
    Stop spraying now.
    Wind 12 mph, at most 10 mph (label): 2 mph over.
    Not inside again as far as the forecast reaches.
    Job: coarse, about 41 min of spraying left.
    Wind measured by mast 1 min ago.
  11:02 mate: Pare hill: demasiado viento, 12 mph. Deje de aplicar ya. Viento 12 mph, maximo 10 mph (etiqueta): 2 mph de mas. Decide la etiqueta.
finish
20 min calm
not All clear|Puede seguir
most 1 driver
most 1 mate
most 0 helper
