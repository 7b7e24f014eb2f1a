# One storm over two jobs: each is stopped, by its field.
start hill coarse
start creek_side old_coarse
1 min calm
3 min storm
  11:02 driver: Stop hill: gusts 22, max 15 mph
    Stop spraying now.
    Gust 22 mph, at most 15 mph (own): 7 mph over.
    Also wind 14 mph, at most 10 mph (label): 4 mph over.
    Not inside again as far as the forecast reaches.
    Job: coarse, about 41 min of spraying left.
    Wind measured by mast 1 min ago.
  11:02 mate: Pare hill: rafagas 22, max. 15 mph. Deje de aplicar ya. Rafaga 22 mph, maximo 15 mph (propio): 7 mph de mas. Decide la etiqueta.
  11:02 driver: Stop creek side: gusts 22, max 15 mph
    Stop spraying now.
    Gust 22 mph, at most 15 mph (own): 7 mph over.
    Also wind 14 mph, at most 10 mph (label): 4 mph over.
    Not inside again as far as the forecast reaches.
    Job: old coarse, about 41 min of spraying left.
    Wind measured by mast 1 min ago.
  11:02 mate: Pare creek side: rafagas 22, max. 15 mph. Deje de aplicar ya. Rafaga 22 mph, maximo 15 mph (propio): 7 mph de mas. Decide la etiqueta.
15 min calm
  11:15 driver: All clear hill: inside for 10 min
    Inside for 10 min.
    Job: coarse, about 28 min of spraying left.
    Wind measured by mast 1 min ago.
  11:15 mate: Puede seguir hill: 10 min dentro. 10 min dentro. Trabajo: coarse, quedan unos 28 min de pulverizacion. Decide la etiqueta.
  11:15 driver: All clear creek side: inside for 10 min
    Inside for 10 min.
    Job: old coarse, about 28 min of spraying left.
    Wind measured by mast 1 min ago.
  11:15 mate: Puede seguir creek side: 10 min dentro. 10 min dentro. Trabajo: old coarse, quedan unos 28 min de pulverizacion. Decide la etiqueta.
most 4 driver
most 4 mate
not (?i)check|unknown
